package events

// Ingredient is one active ingredient of a product.
type Ingredient struct {
	Name  string    `json:"name" is:"name,required"`
	Share *Quantity `json:"share" dim:"share mass-per-volume mass-per-mass" doc:"% by mass, or mass in a volume"`
	MoA   *MoA      `json:"moa"`
}

// MoA is a mode of action as a published scheme groups it.
type MoA struct {
	Scheme  string `json:"scheme" is:"text"`
	Group   string `json:"group" is:"text"`
	Version string `json:"version" is:"text"`
}

// Withholding is one line of a label about the time between the last use and picking, as a person read it.
type Withholding struct {
	Kind        string   `json:"kind" is:"text,required" enum:"numeric zero none-stated growth-stage prohibited unknown"`
	Value       *float64 `json:"value" is:"number" min:"0" max:"10000"`
	Unit        string   `json:"unit" enum:"h d wk"`
	TermOnLabel string   `json:"termOnLabel" is:"text" doc:"what the label calls it"`
	CountRule   string   `json:"countRule" enum:"label-says date elapsed full-days"`
	Words       string   `json:"words" is:"text" doc:"the label's own sentence"`
	EndUse      string   `json:"endUse" is:"text"`
	Region      string   `json:"region" is:"text"`
	Rate        string   `json:"rate" is:"text" doc:"the rate that this line is for, in the label's words"`
}

// Reentry is one line of a label about the time in which nobody enters.
type Reentry struct {
	Hours              *float64 `json:"hours" is:"number" min:"0" max:"10000"`
	Words              string   `json:"words" is:"text"`
	Activity           string   `json:"activity" is:"text"`
	DoubleNotification *bool    `json:"doubleNotification"`
	_                  struct{} `oneof:"hours words"`
}

// LabelRate is a rate that a label gives.
type LabelRate struct {
	Min *Quantity `json:"min" dim:"mass-per-area volume-per-area mass-per-volume volume-per-volume share mass volume"`
	Max *Quantity `json:"max" dim:"mass-per-area volume-per-area mass-per-volume volume-per-volume share mass volume"`
	Per string    `json:"per" is:"text" doc:"per what, where the unit does not say it, as tree"`
	_   struct{}  `oneof:"min max"`
	_   struct{}  `order:"min max"`
}

// LabelFiled is what a person read off one product's label. The program ships no label.
type LabelFiled struct {
	Common
	Product              string                 `json:"product" is:"name,required"`
	Material             string                 `json:"material" is:"text,required" enum:"pesticide minimum-risk growth-regulator adjuvant nutrient biological other"`
	ReadBy               string                 `json:"readBy" is:"text,required"`
	LabelVersion         string                 `json:"labelVersion" is:"text"`
	LabelDate            string                 `json:"labelDate" is:"partial"`
	Document             string                 `json:"document" is:"sha256"`
	Language             string                 `json:"language" is:"text"`
	Jurisdiction         string                 `json:"jurisdiction" is:"text"`
	Region               string                 `json:"region" is:"text"`
	Supplemental         string                 `json:"supplemental" enum:"main special-local-need emergency-exemption recommendation"`
	ValidFrom            string                 `json:"validFrom" is:"date"`
	ValidUntil           string                 `json:"validUntil" is:"date"`
	Supersedes           string                 `json:"supersedes" is:"id"`
	Registration         string                 `json:"registration" is:"text"`
	ActiveIngredients    []Ingredient           `json:"activeIngredients" is:""`
	Crop                 string                 `json:"crop" is:"text" doc:"the crop as the label names it"`
	CropListed           *bool                  `json:"cropListed" doc:"whether the label lists the crop that is grown here"`
	Withholding          OneOrMany[Withholding] `json:"withholding" is:""`
	Reentry              OneOrMany[Reentry]     `json:"reentry" is:""`
	Rates                []LabelRate            `json:"rates" is:""`
	LeastDaysBetween     *int                   `json:"leastDaysBetweenApplications"`
	MostApplications     *int                   `json:"mostApplicationsASeason"`
	MostProduct          *Quantity              `json:"mostProductPerSeason" dim:"mass-per-area volume-per-area"`
	MostProductPerUse    *Quantity              `json:"mostProductPerApplication" dim:"mass-per-area volume-per-area"`
	MostIngredient       *Quantity              `json:"mostActiveIngredientPerSeason" dim:"mass-per-area"`
	MostIngredientPerUse *Quantity              `json:"mostActiveIngredientPerApplication" dim:"mass-per-area"`
	SeasonMeans          string                 `json:"whatItCallsASeason" is:"text"`
	MostConsecutive      *int                   `json:"mostConsecutiveUsesOfAGroup" doc:"of one mode of action"`
	WindLimit            *Quantity              `json:"windLimit" dim:"speed"`
	BufferToWater        *Quantity              `json:"bufferToWater" dim:"length"`
	RainFreeTime         *Quantity              `json:"rainFreeTime" dim:"duration"`
	BloomWords           string                 `json:"bloomAndPollinatorWords" is:"text"`
	Equipment            []string               `json:"equipmentAllowed" is:"text"`
	SignalWord           string                 `json:"signalWord" is:"text"`
	ProtectiveEquipment  string                 `json:"protectiveEquipment" is:"text"`
	EarlyEntryEquipment  string                 `json:"earlyEntryEquipment" is:"text"`
	RestrictedUse        *bool                  `json:"restrictedUse"`
	SafetyDataSheet      string                 `json:"safetyDataSheet" is:"sha256"`
	OrganicUse           *bool                  `json:"organicUse"`
	_                    struct{}               `given:"material pesticide growth-regulator" require:"registration activeIngredients crop withholding reentry"`
	_                    struct{}               `order:"validFrom validUntil"`
}

// LabelClosed ends a label's use. It never changes an old spray's interval by itself.
type LabelClosed struct {
	Common
	Label         string `json:"label" is:"id,required"`
	Reason        string `json:"reason" is:"text,required" enum:"superseded cancelled suspended expired"`
	LastLawfulUse string `json:"lastLawfulUse" is:"date"`
	Source        string `json:"source" is:"text"`
}

// Ingredient roles of a mix.
const (
	RoleActive   = "active"
	RoleAdjuvant = "adjuvant"
	RoleNutrient = "nutrient"
)

// MixItem is one product of a tank.
type MixItem struct {
	Label        string    `json:"label" is:"id"`
	Product      string    `json:"product" is:"name"`
	Registration string    `json:"registration" is:"text"`
	Rate         *Quantity `json:"rate" dim:"mass-per-area volume-per-area mass-per-volume volume-per-volume share mass volume" above:"0"`
	Total        *Quantity `json:"total" dim:"mass volume" above:"0" doc:"of the product, not of the mix"`
	Batch        string    `json:"batch" is:"text"`
	Role         string    `json:"role" enum:"active adjuvant nutrient" doc:"absent: active"`
	_            struct{}  `oneof:"label product"`
}

// IsActive reports whether the item's label can hold fruit and people back: an item without role does.
func (m MixItem) IsActive() bool { return m.Role == "" || m.Role == RoleActive }

// Notice is a warning given to somebody before a spray.
type Notice struct {
	Who  string `json:"who" is:"text"`
	How  string `json:"how" is:"text"`
	When string `json:"when" is:"moment"`
}

// SprayPlanned closes its blocks from its start on, until it is begun or called off.
type SprayPlanned struct {
	Common
	Where        Where     `json:"where" is:",required"`
	From         string    `json:"from" is:"moment,required"`
	Until        string    `json:"until" is:"moment"`
	Mix          []MixItem `json:"mix" is:",required"`
	NoticesGiven []Notice  `json:"noticesGiven" is:""`
	_            struct{}  `order:"from until"`
}

// SprayBegun says that spraying is going on.
type SprayBegun struct {
	Common
	Where   Where     `json:"where" is:",required"`
	Started string    `json:"started" is:"moment,required"`
	Mix     []MixItem `json:"mix" is:""`
	Plan    string    `json:"plan" is:"id"`
}

// SprayCalledOff ends a plan, or a spray that was begun.
type SprayCalledOff struct {
	Common
	Where           Where    `json:"where" is:",required"`
	Plan            string   `json:"plan" is:"id"`
	Begun           string   `json:"begun" is:"id"`
	Reason          string   `json:"reason" is:"text,required"`
	AnythingApplied *bool    `json:"anythingApplied"`
	_               struct{} `oneof:"plan begun"`
}

// SprayedPart is a part of the farm that a spray covered, with its own end where the parts ended apart.
type SprayedPart struct {
	Part
	Ended string `json:"ended" is:"moment"`
}

// Condition is the weather as it was read at a spray.
type Condition struct {
	At               string    `json:"at" is:"moment"`
	WindSpeed        *Quantity `json:"windSpeed" dim:"speed"`
	WindDirection    *Quantity `json:"windDirection" dim:"angle"`
	AtHeight         *Quantity `json:"atHeight" dim:"length"`
	AirTemperature   *Quantity `json:"airTemperature" dim:"temperature"`
	RelativeHumidity *Quantity `json:"relativeHumidity" dim:"share" max:"105 %" doc:"a raw sensor may show more than 100"`
	MeasuredBy       string    `json:"measuredBy" is:"text"`
}

// Suspension is a break in a spray.
type Suspension struct {
	From   string   `json:"from" is:"moment"`
	To     string   `json:"to" is:"moment"`
	Reason string   `json:"reason" is:"text"`
	_      struct{} `order:"from to"`
}

// Warning is how people were kept out.
type Warning struct {
	SignsUp   string   `json:"signsUp" is:"moment"`
	SignsDown string   `json:"signsDown" is:"moment"`
	Oral      string   `json:"oral" is:"moment"`
	By        string   `json:"by" is:"person"`
	_         struct{} `order:"signsUp signsDown"`
}

// SprayApplied is a spray that was done. Its time is its end.
type SprayApplied struct {
	Common
	Where                  OneOrMany[SprayedPart] `json:"where" is:",required"`
	Started                string                 `json:"started" is:"moment,required"`
	Ended                  string                 `json:"ended" is:"moment,required"`
	Mix                    []MixItem              `json:"mix" is:",required"`
	AreaTreated            *Quantity              `json:"areaTreated" dim:"area" above:"0"`
	Target                 string                 `json:"target" is:"text"`
	Purpose                string                 `json:"purpose" is:"text"`
	Plan                   string                 `json:"plan" is:"id"`
	Begun                  string                 `json:"begun" is:"id"`
	CropStage              string                 `json:"cropStage" is:"text"`
	MixVolume              *Quantity              `json:"mixVolume" dim:"volume volume-per-area"`
	Tanks                  *int                   `json:"tanks"`
	WaterSource            string                 `json:"waterSource" is:"text"`
	EquipmentKind          string                 `json:"equipmentKind" enum:"air-blast boom backpack aerial injection bait release"`
	DropletClass           string                 `json:"dropletClass" is:"text"`
	ReleaseHeight          *Quantity              `json:"releaseHeight" dim:"length"`
	Sides                  string                 `json:"sides" is:"text"`
	AlternateRows          *bool                  `json:"alternateRows"`
	Conditions             []Condition            `json:"conditions" is:""`
	Applicator             *Person                `json:"applicator" is:",required"`
	NoncertifiedApplicator string                 `json:"noncertifiedApplicator" is:"person"`
	SupervisedBy           *Person                `json:"supervisedBy"`
	Contractor             *Party                 `json:"contractor"`
	Customer               *Party                 `json:"customer"`
	Spot                   *bool                  `json:"spot"`
	Suspensions            []Suspension           `json:"suspensions" is:""`
	Warning                *Warning               `json:"warning"`
	LeftOver               string                 `json:"leftOver" is:"text"`
	_                      struct{}               `oneof:"target purpose"`
	_                      struct{}               `order:"started where.ended"`
}

// HoldJudged is a person's reading where the label gives no number; it is shown as theirs.
type HoldJudged struct {
	Common
	Where       Where    `json:"where" is:",required"`
	Spray       string   `json:"spray" is:"id,required"`
	Words       string   `json:"words" is:"text,required" doc:"the label's words that were judged"`
	From        string   `json:"from" is:"moment"`
	GrowthStage string   `json:"growthStage" is:"text"`
	_           struct{} `oneof:"from growthStage"`
}

// SprayPosted is the sheet or sign about a spray, where people see it.
type SprayPosted struct {
	Common
	Spray                string   `json:"spray" is:"id,required"`
	Place                string   `json:"place" is:"text,required"`
	From                 string   `json:"from" is:"moment,required"`
	Until                string   `json:"until" is:"moment" doc:"how long it is to hang"`
	Removed              string   `json:"removed" is:"moment"`
	SafetyDataSheetThere *bool    `json:"safetyDataSheetThere"`
	Language             string   `json:"language" is:"text"`
	_                    struct{} `order:"from until"`
	_                    struct{} `order:"from removed"`
}

// EntryMade is somebody going into a block while re-entry ran, with what they say allows it.
type EntryMade struct {
	Common
	Where               Where             `json:"where" is:",required"`
	Who                 OneOrMany[string] `json:"who" is:"person,required"`
	From                string            `json:"from" is:"moment,required"`
	Until               string            `json:"until" is:"moment,required"`
	Activity            string            `json:"activity" is:"text"`
	ExceptionClaimed    string            `json:"exceptionClaimed" is:"text" doc:"of the label or the local rule, as they claim it"`
	BriefingItems       []string          `json:"briefingItems" is:"text" doc:"what they were told: place, pesticide, interval, exception, contact, time, equipment, supplies, label"`
	AgeOf18Attested     *bool             `json:"ageOf18Attested"`
	ProtectiveEquipment string            `json:"protectiveEquipment" is:"text"`
}

// ExposureReported is somebody who came into contact with a spray. It waits for nothing: neither for the spray's record nor
// for any other.
type ExposureReported struct {
	Common
	Who   OneOrMany[string] `json:"who" is:"person,required"`
	When  string            `json:"when" is:"moment,required"`
	Spray string            `json:"spray" is:"id"`
	Where Where             `json:"where" is:"" doc:"the block, for the record to stand in its chain"`
	Place string            `json:"place" is:"text" doc:"in words"`
	What  string            `json:"what" is:"text" doc:"what happened, and what was done"`
}
