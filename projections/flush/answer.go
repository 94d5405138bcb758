package flush

import "latewood/events/civil"

// A Query asks where the flush stands and where it is going.
type Query struct {
	Block string     // "": all
	On    civil.Date // what came after it is not looked at
	Cores int        // goroutines; the answer is the same with any number
	Skill bool       // judge past seasons too
}

// Doc is the answer as JSON shows it. What is absent is not known.
type Doc struct {
	On      string  `json:"on"`
	Blocks  []Block `json:"blocks"`
	Caution string  `json:"caution"`
	Assumed int     `json:"assumed,omitempty"` // records whose time of knowing was assumed
}

// A Block is the flush of one cultivar in one block. Shares are 0 to 1, days civil.
type Block struct {
	Block    string `json:"block"`
	Name     string `json:"name,omitempty"`
	Cultivar string `json:"cultivar"`
	Trees    int    `json:"trees,omitempty"`
	Headline string `json:"headline"`

	Stage      string       `json:"stage,omitempty"`
	StageSince string       `json:"stageSince,omitempty"`
	StageFrom  string       `json:"stageFrom,omitempty"` // seen, estimate
	Terminals  []StageShare `json:"terminals,omitempty"` // estimated shares by stage

	NextBreak   *Band      `json:"nextBreak,omitempty"`
	MaybeBroken float64    `json:"maybeBroken,omitempty"` // chance that buds broke since the last look
	Look        *Days      `json:"look,omitempty"`
	CoolShare   *CoolShare `json:"coolShare,omitempty"`
	// PruneStretches are the days from which the share reaches the setting flush-stretch-share; empty is an answer.
	PruneStretches []Stretch `json:"pruneStretches"`
	LastPruneDay   string    `json:"lastPruneDay,omitempty"` // end of the last stretch with a mature flush before the cool season
	PruneSeason    string    `json:"pruneSeason,omitempty"`  // the crop that the stretches lead to
	BestDay        *BestDay  `json:"bestPruneDay,omitempty"`

	NotKnown []NotKnown `json:"notKnown,omitempty"`
	Outside  []Outside  `json:"outside,omitempty"`
	Notes    []string   `json:"notes,omitempty"`
	Basis    Basis      `json:"basis"`
	Skill    *Skill     `json:"skill,omitempty"`
}

// Band is days by which a tenth, a half and nine tenths of the draws have broken.
type Band struct {
	P10 string `json:"p10"`
	P50 string `json:"p50"`
	P90 string `json:"p90"`
}

// Days is a stretch of days, both inclusive.
type Days struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// CoolShare is the share of terminals whose break meets cool weather, over past winters and draws of the parameters.
type CoolShare struct {
	Season    string   `json:"season"` // the crop that it leads to
	Mean      float64  `json:"mean"`
	LastTen   float64  `json:"lastTen"`
	TradeLine float64  `json:"atTradeLine"` // the same with the trade's temperature in the cultivar's place
	Winters   Winters  `json:"winters"`
	Weather   Spread   `json:"weather"`   // over the winters
	Ignorance Spread   `json:"ignorance"` // over the draws of the parameters
	Trend     *float64 `json:"trendPerDecade,omitempty"`
	ByYear    []Year   `json:"byYear"`
}

// Winters counts the past winters in which the middle draw had half of its terminals or more meet cool weather.
type Winters struct {
	Met int `json:"met"`
	Of  int `json:"of"`
}

// Spread is the tenth and the ninetieth of a hundred.
type Spread struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Year is the share by the weather of one past winter.
type Year struct {
	Season string  `json:"season"`
	Share  float64 `json:"share"`
}

// A Stretch is days on which a prune leads to a break in the cool weeks often enough.
type Stretch struct {
	From  string  `json:"from"`
	To    string  `json:"to"`
	Best  string  `json:"best"`
	Share float64 `json:"share"` // on the best day
	Low   float64 `json:"low"`   // p10 over the draws of the parameters, on the best day
	High  float64 `json:"high"`  // p90
	// Margin is the days from the best day to either end: too early is as bad as too late.
	MarginBefore int     `json:"marginBefore"`
	MarginAfter  int     `json:"marginAfter"`
	TradeLine    float64 `json:"atTradeLine"`
	Mature       float64 `json:"mature"` // share of draws with a mature flush before the cool season, from a prune on the last day
	FruitOn      bool    `json:"fruitOn,omitempty"`
	// TreesWorkable is the trees that the farm prunes in so many days at its own pace; absent while that is not known.
	TreesWorkable *int `json:"treesWorkable,omitempty"`
}

// BestDay is the best day for a prune where no day reaches the share that is asked for.
type BestDay struct {
	Day   string  `json:"day"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// NotKnown is a share of the terminals whose clock is not known, and why.
type NotKnown struct {
	Share float64 `json:"share"`
	Why   string  `json:"why"`
	Words string  `json:"words"`
}

// Outside is what the model leaves out.
type Outside struct {
	Day   string `json:"day"`
	Until string `json:"until,omitempty"`
	What  string `json:"what"`
	Words string `json:"words"`
}

// Basis is what an answer stands on.
type Basis struct {
	WeatherYears   int      `json:"weatherYears"`
	YearsAsked     int      `json:"yearsAsked"`
	YearsLeftOut   int      `json:"yearsLeftOut,omitempty"` // too much of them was filled in
	Station        string   `json:"station,omitempty"`
	PastStation    string   `json:"pastStation,omitempty"` // where past winters come from another one
	WeatherUntil   string   `json:"weatherUntil,omitempty"`
	ImputedDays    int      `json:"imputedDays"` // since the event that set the clock
	ObservedCycles int      `json:"observedCycles"`
	Counts         int      `json:"flowerCounts"`
	Fitted         bool     `json:"fitted"`
	Threshold      float64  `json:"threshold"` // C
	ThresholdKnown bool     `json:"thresholdPublished"`
	TradeLine      float64  `json:"tradeLine"`
	ShareAsked     float64  `json:"stretchShare"` // from which a day belongs to a prune stretch
	Response       string   `json:"response"`
	Parameters     []Moved  `json:"parameters,omitempty"`
	CoolSeason     *Days    `json:"coolSeason,omitempty"`
	PacePerDay     *float64 `json:"treesPrunedPerDay,omitempty"`
}
