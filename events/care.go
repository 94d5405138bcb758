package events

// FruitSet counts what set after bloom.
type FruitSet struct {
	Common
	Where            Where     `json:"where" is:",required"`
	ShareOfPanicles  *Quantity `json:"shareOfPanicles" dim:"share" min:"0" max:"100"`
	FruitsPerPanicle *float64  `json:"fruitsPerPanicle" is:"number" min:"0" max:"10000"`
	_                struct{}  `oneof:"shareOfPanicles fruitsPerPanicle"`
}

// CropThinned is fruit or panicles taken off on purpose.
type CropThinned struct {
	Common
	Where  Where     `json:"where" is:",required"`
	What   string    `json:"what" is:"text,required"`
	Share  *Quantity `json:"share" dim:"share" min:"0" max:"100"`
	Method string    `json:"method" is:"text"`
}

// DamageSeen is harm to trees or fruit, and what did it.
type DamageSeen struct {
	Common
	Where       Where     `json:"where" is:",required"`
	Cause       string    `json:"cause" is:"text,required" enum:"frost freeze wind storm hail flood drought heat pest disease bird bat rodent large-animal theft fire drift spray-injury herbicide machine lightning salt other"`
	Agent       string    `json:"agent" is:"text" doc:"which animal, pest or disease"`
	Organ       string    `json:"organ" is:"text"`
	From        string    `json:"from" is:"moment"`
	Until       string    `json:"until" is:"moment"`
	Severity    string    `json:"severity" is:"text"`
	FruitLost   *Quantity `json:"fruitLost" dim:"mass share"`
	TreesDead   *int      `json:"treesDead"`
	NoticeGiven *Notice   `json:"noticeGiven"`
}

// PestScouted is a look for a pest. None found is a record too.
type PestScouted struct {
	Common
	Where          Where  `json:"where" is:",required"`
	Target         string `json:"target" is:"name,required"`
	Method         string `json:"method" is:"text,required" enum:"visual beat trap sweep"`
	UnitsExamined  *int   `json:"unitsExamined"`
	UnitsWith      *int   `json:"unitsWith" doc:"of the units examined"`
	Count          *int   `json:"count"`
	Trap           string `json:"trap" is:"label"`
	Stage          string `json:"stage" is:"text"`
	NaturalEnemies string `json:"naturalEnemies" is:"text"`
	Threshold      string `json:"threshold" is:"text"`
	Decision       string `json:"decision" is:"text,required" enum:"none watch treat"`
}

// TreeGirdled is bark cut around trunk or limbs.
type TreeGirdled struct {
	Common
	Where        Where     `json:"where" is:",required"`
	Part         string    `json:"part" is:"text"`
	ShareOfLimbs *Quantity `json:"shareOfLimbs" dim:"share" min:"0" max:"100"`
	Width        *Quantity `json:"width" dim:"length" min:"0"`
	Healed       *bool     `json:"healed"`
}

// GroundWorked is work on the ground under the trees.
type GroundWorked struct {
	Common
	Where Where  `json:"where" is:",required"`
	What  string `json:"what" is:"text,required" enum:"mown mulched tilled burned"`
}

// ProtectionPlaced puts something up against weather or animals.
type ProtectionPlaced struct {
	Common
	Where Where  `json:"where" is:",required"`
	Kind  string `json:"kind" is:"text,required" enum:"net bags windbreak frost-cover heater sprinkler fan scarer trunk-guard"`
	Count *int   `json:"count"`
}

// ProtectionRemoved takes it down.
type ProtectionRemoved ProtectionPlaced

// HivesPlaced brings bees in.
type HivesPlaced struct {
	Common
	Where  Where  `json:"where" is:",required"`
	Hives  int    `json:"hives" is:"count,required"`
	Keeper *Party `json:"keeper"`
}

// HivesRemoved takes them away.
type HivesRemoved HivesPlaced

// TestResult is one value of a laboratory's sheet.
type TestResult struct {
	What           string   `json:"what" is:"name,required"`
	Value          *float64 `json:"value" is:"number"`
	Unit           string   `json:"unit" is:"text" doc:"as the laboratory writes it"`
	Limit          *float64 `json:"limit" is:"number"`
	BelowDetection *bool    `json:"belowDetection"`
	_              struct{} `oneof:"value belowDetection"`
}

// SampleTested is a laboratory's answer.
type SampleTested struct {
	Common
	Material   string       `json:"material" is:"text,required" enum:"soil leaf fruit residue water amendment swab"`
	Where      Where        `json:"where" is:""`
	Lot        string       `json:"lot" is:"lot"`
	Source     string       `json:"source" is:"code" doc:"of water: the source"`
	Sampled    string       `json:"sampled" is:"moment,required"`
	Laboratory string       `json:"laboratory" is:"text"`
	Method     string       `json:"method" is:"text"`
	Results    []TestResult `json:"results" is:",required"`
	Document   string       `json:"document" is:"sha256"`
	_          struct{}     `oneof:"where lot source"`
}

// SprayPosted is the sheet or sign about a spray, where people see it.
type SprayPosted struct {
	Common
	Spray                string `json:"spray" is:"id,required"`
	Place                string `json:"place" is:"text,required"`
	From                 string `json:"from" is:"moment,required"`
	Until                string `json:"until" is:"moment"`
	Removed              string `json:"removed" is:"moment"`
	SafetyDataSheetThere *bool  `json:"safetyDataSheetThere"`
	Language             string `json:"language" is:"text"`
}

// EntryMade is somebody going into a block while re-entry ran, with what allows it by the label and the local rules.
type EntryMade struct {
	Common
	Where               Where    `json:"where" is:",required"`
	Who                 []string `json:"who" is:"person,required"`
	From                string   `json:"from" is:"moment,required"`
	Until               string   `json:"until" is:"moment,required"`
	Activity            string   `json:"activity" is:"text"`
	ExceptionClaimed    string   `json:"exceptionClaimed" is:"text"`
	BriefingItems       []string `json:"briefingItems" is:"text"`
	AgeOf18Attested     *bool    `json:"ageOf18Attested"`
	ProtectiveEquipment string   `json:"protectiveEquipment" is:"text"`
}

// ExposureReported is somebody who came into contact with a spray. It waits for nothing.
type ExposureReported struct {
	Common
	Who   []string `json:"who" is:"person,required"`
	When  string   `json:"when" is:"moment,required"`
	Spray string   `json:"spray" is:"id"`
	Where Where    `json:"where" is:""`
	Place string   `json:"place" is:"text"`
	What  string   `json:"what" is:"text"`
}

// Analysis is what a fertiliser holds.
type Analysis struct {
	Nitrogen   *Quantity `json:"nitrogen" dim:"share" min:"0" max:"100"`
	Phosphorus *Quantity `json:"phosphorus" dim:"share" min:"0" max:"100" doc:"as the bag states it (P2O5 where it does)"`
	Potassium  *Quantity `json:"potassium" dim:"share" min:"0" max:"100" doc:"as the bag states it (K2O where it does)"`
}

// NutrientApplied is fertiliser or amendment put on.
type NutrientApplied struct {
	Common
	Where           Where     `json:"where" is:",required"`
	Material        string    `json:"material" is:"name,required"`
	Total           *Quantity `json:"total" is:",required" dim:"mass volume"`
	Origin          string    `json:"origin" enum:"mineral plant animal"`
	Analysis        *Analysis `json:"analysis"`
	Method          string    `json:"method" is:"text"`
	Treated         *bool     `json:"treated" doc:"of animal origin: treated by a process that is documented"`
	TreatmentRecord string    `json:"treatmentRecord" is:"sha256"`
	TouchesFruit    *bool     `json:"touchesFruit"`
}

// WaterApplied is irrigation, or water for another use on the trees.
type WaterApplied struct {
	Common
	Where        Where     `json:"where" is:",required"`
	Amount       *Quantity `json:"amount" dim:"volume length volume-per-area"`
	From         string    `json:"from" is:"moment"`
	Until        string    `json:"until" is:"moment"`
	Hours        *float64  `json:"hours" is:"number" min:"0" max:"8784"`
	Method       string    `json:"method" is:"text"`
	Source       string    `json:"source" is:"code"`
	TouchesFruit *bool     `json:"touchesFruit"`
}

// WaterWithheld is water kept back on purpose.
type WaterWithheld struct {
	Common
	Where   Where  `json:"where" is:",required"`
	From    string `json:"from" is:"moment,required"`
	Until   string `json:"until" is:"moment"`
	Reason  string `json:"reason" is:"text"`
	Reading string `json:"reading" is:"text"`
}

// WeatherDoubted says that a stretch of readings is not to be trusted.
type WeatherDoubted struct {
	Common
	Station  string   `json:"station" is:"code,required"`
	From     string   `json:"from" is:"instant,required"`
	To       string   `json:"to" is:"instant,required"`
	Elements []string `json:"elements" is:"text" doc:"the fields of weather.read that are doubted; absent: all"`
	Reason   string   `json:"reason" is:"text,required"`
}
