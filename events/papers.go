package events

// TrainingGiven is a training and who had it.
type TrainingGiven struct {
	Common
	Date       string   `json:"date" is:"date,required"`
	Kind       string   `json:"kind" is:"text,required" enum:"worker-protection handler produce-safety equipment"`
	Topics     []string `json:"topics" is:"text,required"`
	Trained    []string `json:"trained" is:"person,required"`
	Trainer    string   `json:"trainer" is:"text" doc:"a pseudonym, or a business"`
	Language   string   `json:"language" is:"text"`
	Place      string   `json:"place" is:"text"`
	ValidUntil string   `json:"validUntil" is:"date"`
	_          struct{} `order:"date validUntil"`
}

// Factor is one finding of a water assessment.
type Factor struct {
	Factor  string `json:"factor" is:"text,required"`
	Finding string `json:"finding" is:"text,required"`
}

// WaterAssessed is the yearly look at water that touches fruit.
type WaterAssessed struct {
	Common
	Source                               string   `json:"source" is:"code,required"`
	Systems                              []string `json:"systems" is:"text,required"`
	Factors                              []Factor `json:"factors" is:",required"`
	DaysBetweenLastDirectWaterAndHarvest *int     `json:"daysBetweenLastDirectWaterAndHarvest"`
	Outcome                              string   `json:"outcome" is:"text,required"`
	Measures                             string   `json:"measures" is:"text"`
	Reviewer                             string   `json:"reviewer" is:"person"`
}

// ToolCleaned is cleaning of what touches fruit or trees. With a `where` it was done for that block, as between two of them.
type ToolCleaned struct {
	Common
	What   string `json:"what" is:"name,required"`
	Method string `json:"method" is:"text,required"`
	Agent  string `json:"agent" is:"text" doc:"what it was cleaned with"`
	Where  Where  `json:"where" is:""`
}

// CheckItem is one question of a checklist.
type CheckItem struct {
	Question string `json:"question" is:"text,required"`
	Answer   string `json:"answer" is:"text,required"`
	Action   string `json:"action" is:"text" doc:"what was done about it"`
}

// CheckMade is a checklist gone through.
type CheckMade struct {
	Common
	Checklist string      `json:"checklist" is:"name,required"`
	Items     []CheckItem `json:"items" is:",required"`
}

// RoomRead is a reading in a store or cold room.
type RoomRead struct {
	Common
	Room        string    `json:"room" is:"name,required"`
	Temperature *Quantity `json:"temperature" dim:"temperature"`
	Humidity    *Quantity `json:"humidity" dim:"share" max:"105 %" doc:"a raw sensor may show more than 100"`
}

// IncidentReported is something that went wrong.
type IncidentReported struct {
	Common
	What         string   `json:"what" is:"text,required" enum:"illness injury contamination animal-intrusion flood spill power-loss cold-break theft drift-in drift-out complaint"`
	From         string   `json:"from" is:"moment,required"`
	Until        string   `json:"until" is:"moment"`
	Where        Where    `json:"where" is:""`
	Location     string   `json:"location" is:"name" doc:"where it was in no block"`
	LotsTouched  []string `json:"lotsTouched" is:"lot"`
	PicksTouched []string `json:"picksTouched" is:"id"`
	Action       string   `json:"action" is:"text"`
	Told         []Told   `json:"told" is:""`
	_            struct{} `oneof:"where location"`
}

// VisitMade is somebody from outside on the farm.
type VisitMade struct {
	Common
	Who     OneOrMany[string] `json:"who" is:"text,required" doc:"pseudonyms, or businesses; no names of people"`
	From    string            `json:"from" is:"moment,required"`
	Until   string            `json:"until" is:"moment"`
	Areas   []string          `json:"areas" is:"text"`
	Briefed *bool             `json:"briefed"`
}

// DocumentFiled is a paper that the farm keeps.
type DocumentFiled struct {
	Common
	Kind     string   `json:"kind" is:"text,required" enum:"organic audit licence conformance insurance permit settlement scale-ticket inspection other"`
	About    string   `json:"about" is:"text,required"`
	Issuer   string   `json:"issuer" is:"name"`
	Number   string   `json:"number" is:"text"`
	From     string   `json:"from" is:"date"`
	Until    string   `json:"until" is:"date" doc:"the last day that it holds"`
	Document string   `json:"document" is:"sha256" doc:"one of the attachments"`
	_        struct{} `order:"from until"`
}

// ExemptionClaimed is an exemption that the farm claims, with the figures that it rests on. Whether it holds is not for the
// program to say.
type ExemptionClaimed struct {
	Common
	Rule         string   `json:"rule" is:"text,required" doc:"the rule's paragraph"`
	BasisFigures Raw      `json:"basisFigures" is:"any" doc:"a text, a number, or figures by year"`
	Years        []string `json:"years" is:"partial" doc:"that the figures are of"`
	Until        string   `json:"until" is:"date"`
}
