package events

// FruitSet counts what set after bloom.
type FruitSet struct {
	Common
	Where            Where     `json:"where" is:",required"`
	ShareOfPanicles  *Quantity `json:"shareOfPanicles" dim:"share" doc:"of the panicles, those that set fruit"`
	FruitsPerPanicle *float64  `json:"fruitsPerPanicle" is:"number" min:"0" max:"10000" doc:"mean of the panicles counted"`
}

// CropThinned is fruit or panicles taken off on purpose.
type CropThinned struct {
	Common
	Where  Where     `json:"where" is:",required"`
	What   string    `json:"what" is:"text,required" doc:"fruit, panicles, ..."`
	Share  *Quantity `json:"share" dim:"share" doc:"how much of it was taken off"`
	Method string    `json:"method" is:"text"`
}

// DamageSeen is harm to trees or fruit, and what did it. Where it went on until a known end, that is its time; when it was
// noted stands in the envelope.
type DamageSeen struct {
	Common
	Where       Where     `json:"where" is:",required"`
	Cause       string    `json:"cause" is:"text,required" enum:"frost freeze wind storm hail flood drought heat pest disease bird bat rodent large-animal theft fire drift spray-injury herbicide machine lightning salt other"`
	Agent       string    `json:"agent" is:"text" doc:"which animal, pest, disease or product"`
	Organ       string    `json:"organ" is:"text" doc:"fruit, panicle, leaf, limb, ..."`
	From        string    `json:"from" is:"moment"`
	Until       string    `json:"until" is:"moment"`
	Severity    string    `json:"severity" is:"text"`
	FruitLost   *Quantity `json:"fruitLost" dim:"mass share"`
	TreesDead   *int      `json:"treesDead"`
	NoticeGiven *Notice   `json:"noticeGiven" doc:"of the loss, to an insurer or an office"`
}

// PestScouted is a look for a pest. None found is a record too.
type PestScouted struct {
	Common
	Where          Where    `json:"where" is:",required"`
	Target         string   `json:"target" is:"name,required"`
	Method         string   `json:"method" is:"text,required" enum:"visual beat trap sweep"`
	UnitsExamined  *int     `json:"unitsExamined" doc:"leaves, shoots, trays, ..."`
	UnitsWith      *int     `json:"unitsWith" doc:"of the units examined, those with the target"`
	Count          *int     `json:"count" doc:"of the target, over all units examined"`
	Trap           string   `json:"trap" is:"label" doc:"which trap"`
	Stage          string   `json:"stage" is:"text" doc:"of the target: egg, nymph, ..."`
	NaturalEnemies string   `json:"naturalEnemies" is:"text"`
	Threshold      string   `json:"threshold" is:"text" doc:"the number from which is acted, and whose it is"`
	Decision       string   `json:"decision" is:"text,required" enum:"none watch treat"`
	_              struct{} `sum:"unitsExamined unitsWith"`
}

// TreeGirdled is bark cut around trunk or limbs.
type TreeGirdled struct {
	Common
	Where        Where     `json:"where" is:",required"`
	Part         string    `json:"part" is:"text" doc:"trunk, main limbs, ..."`
	ShareOfLimbs *Quantity `json:"shareOfLimbs" dim:"share"`
	Width        *Quantity `json:"width" dim:"length" doc:"of the ring of bark"`
	Healed       *bool     `json:"healed" doc:"a later look says whether the ring has closed"`
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
	Hives  int    `json:"hives" is:"count,required" above:"0"`
	Keeper *Party `json:"keeper"`
}

// HivesRemoved takes them away.
type HivesRemoved HivesPlaced

// TestResult is one value of a laboratory's sheet. Value and limit are in the laboratory's unit, which the program does not
// read: laboratories write many that are no UCUM codes.
type TestResult struct {
	What           string   `json:"what" is:"name,required"`
	Value          *float64 `json:"value" is:"number"`
	Unit           string   `json:"unit" is:"text" doc:"as the laboratory writes it"`
	Limit          *float64 `json:"limit" is:"number" doc:"as the laboratory states it, in the same unit"`
	BelowDetection *bool    `json:"belowDetection" doc:"true: not found; value then is the least that the method finds, if the sheet says"`
}

// SampleTested is a laboratory's answer, or a test on the farm. Maturity (Brix, acid, size) is one of fruit.
type SampleTested struct {
	Common
	Material   string       `json:"material" is:"text,required" enum:"soil leaf fruit residue water amendment swab"`
	Where      Where        `json:"where" is:""`
	Lot        string       `json:"lot" is:"lot"`
	Source     string       `json:"source" is:"code" doc:"the water source, amendment heap or surface that was sampled"`
	Sampled    string       `json:"sampled" is:"moment,required"`
	Laboratory string       `json:"laboratory" is:"text"`
	Method     string       `json:"method" is:"text"`
	Results    []TestResult `json:"results" is:",required"`
	Document   string       `json:"document" is:"sha256" doc:"the laboratory's sheet, one of the attachments"`
	_          struct{}     `oneof:"where lot source"`
}

// Analysis is what a fertiliser holds, as the bag states it.
type Analysis struct {
	N *Quantity `json:"n" dim:"share" doc:"nitrogen"`
	P *Quantity `json:"p" dim:"share" doc:"phosphorus, as P2O5 where the bag states it so"`
	K *Quantity `json:"k" dim:"share" doc:"potassium, as K2O where the bag states it so"`
}

// NutrientApplied is fertiliser or amendment put on.
type NutrientApplied struct {
	Common
	Where           Where     `json:"where" is:",required"`
	Material        string    `json:"material" is:"name,required"`
	Total           *Quantity `json:"total" is:",required" dim:"mass volume" above:"0"`
	Origin          string    `json:"origin" enum:"mineral plant animal"`
	Analysis        *Analysis `json:"analysis"`
	Method          string    `json:"method" is:"text"`
	Treated         *bool     `json:"treated" doc:"of animal origin: treated by a process that is documented"`
	TreatmentRecord string    `json:"treatmentRecord" is:"text" doc:"which paper documents it"`
	TouchesFruit    *bool     `json:"touchesFruit"`
}

// WaterApplied is irrigation, or water for another use on the trees.
type WaterApplied struct {
	Common
	Where        Where     `json:"where" is:",required"`
	Amount       *Quantity `json:"amount" dim:"volume length volume-per-area" above:"0"`
	From         string    `json:"from" is:"moment"`
	Until        string    `json:"until" is:"moment"`
	Hours        *float64  `json:"hours" is:"number" min:"0" max:"8784" doc:"how long water ran, where that is less than from to until"`
	Method       string    `json:"method" is:"text"`
	Source       string    `json:"source" is:"code"`
	TouchesFruit *bool     `json:"touchesFruit"`
}

// WaterWithheld is water kept back on purpose, as before bloom.
//
// Version 1 had reading as free text. Nothing can be compared with a text, so since version 2 it is a quantity, and what an
// instrument shows without a unit, or a person says of the soil, stands in readingInWords.
type WaterWithheld struct {
	Common
	Where          Where     `json:"where" is:",required"`
	From           string    `json:"from" is:"moment,required"`
	Until          string    `json:"until" is:"moment"`
	Reason         string    `json:"reason" is:"text"`
	Reading        *Quantity `json:"reading" dim:"pressure share length" min:"-10000 kPa" doc:"of the soil's tension or water (tree or leaf: below zero)"`
	ReadingInWords string    `json:"readingInWords" is:"text"`
}
