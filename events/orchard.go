package events

// FarmOpened is the first record of every ledger.
type FarmOpened struct {
	Common
	Name      string    `json:"name" is:"name,required"`
	Zone      string    `json:"zone" is:"zone,required" doc:"IANA zone: the farm's civil days are days there"`
	Latitude  float64   `json:"latitude" is:"number,required" min:"-90" max:"90" doc:"degrees, north positive"`
	Longitude float64   `json:"longitude" is:"number,required" min:"-180" max:"180" doc:"degrees, east positive"`
	Elevation *Quantity `json:"elevation" dim:"length" min:"-500 m" doc:"above the sea"`
	Contact   *Party    `json:"contact"`
}

// SettingAdopted replaces one of the numbers or choices that a farm may replace. The record says from which day.
type SettingAdopted struct {
	Common
	Name   string `json:"name" is:"name,required"`
	Value  Raw    `json:"value" is:"any,required"`
	Unit   string `json:"unit" is:"text"`
	Source string `json:"source" is:"text"`
	From   string `json:"from" is:"date,required"`
	Reason string `json:"reason" is:"text"`
}

// Programme holds the numbers under which assistance programmes know a block.
type Programme struct {
	Farm          string `json:"farm" is:"text"`
	Tract         string `json:"tract" is:"text"`
	Field         string `json:"field" is:"text"`
	InsuranceUnit string `json:"insuranceUnit" is:"text"`
	County        string `json:"county" is:"text"`
}

// Practice says how a block is worked where a programme asks for it.
type Practice struct {
	Irrigated    *bool  `json:"irrigated"`
	Organic      string `json:"organic" enum:"no transition certified"`
	OrganicSince string `json:"organicSince" is:"date"`
}

// BlockFields are what a block is described by, when it is established and when it changes.
type BlockFields struct {
	Trees            *int       `json:"trees" doc:"how many, where trees are not listed one by one"`
	RowSpacing       *Quantity  `json:"rowSpacing" dim:"length"`
	TreeSpacing      *Quantity  `json:"treeSpacing" dim:"length"`
	Soil             string     `json:"soil" is:"text"`
	Irrigation       string     `json:"irrigation" is:"text"`
	Outline          Raw        `json:"outline" is:"geojson"`
	ProgrammeNumbers *Programme `json:"programmeNumbers"`
	InsurableArea    *Quantity  `json:"insurableArea" dim:"area"`
	Practice         *Practice  `json:"practice"`
}

// BlockEstablished makes a block.
type BlockEstablished struct {
	Common
	Block string   `json:"block" is:"code,required"`
	Name  string   `json:"name" is:"name,required"`
	Area  Quantity `json:"area" is:"quantity,required" dim:"area" above:"0"`
	BlockFields
}

// BlockChanged replaces the fields of a block that it carries, from a day on.
type BlockChanged struct {
	Common
	Block string    `json:"block" is:"code,required"`
	From  string    `json:"from" is:"date,required"`
	Name  string    `json:"name" is:"name"`
	Area  *Quantity `json:"area" dim:"area" above:"0"`
	BlockFields
}

// DrawnBlock is one block that a redrawing leaves.
type DrawnBlock struct {
	Block string    `json:"block" is:"code,required"`
	Name  string    `json:"name" is:"name"`
	Area  *Quantity `json:"area" dim:"area" above:"0"`
	Trees []string  `json:"trees" is:"code"`
	Rows  []string  `json:"rows" is:"label"`
}

// BlockRedrawn splits, merges or ends blocks.
type BlockRedrawn struct {
	Common
	From []string     `json:"from" is:"code,required"`
	Into []DrawnBlock `json:"into" is:",required"`
	Date string       `json:"date" is:"date,required"`
}

// DefaultSpecies is the species of a tree whose record names none.
const DefaultSpecies = "Litchi chinensis"

// TreePlanted puts a tree into a block.
type TreePlanted struct {
	Common
	Tree            string   `json:"tree" is:"code,required"`
	Block           string   `json:"block" is:"code,required"`
	Row             string   `json:"row" is:"label"`
	Position        string   `json:"position" is:"label"`
	Cultivar        string   `json:"cultivar" is:"name,required"`
	CultivarCertain *bool    `json:"cultivarCertain"`
	Species         string   `json:"species" is:"name" doc:"absent: Litchi chinensis"`
	Propagation     string   `json:"propagation" enum:"air-layer graft cutting seedling"`
	Rootstock       string   `json:"rootstock" is:"name"`
	Planted         string   `json:"planted" is:"partial,required" doc:"date, month or year"`
	Source          *Party   `json:"source"`
	Replaces        string   `json:"replaces" is:"code"`
	Point           *Point   `json:"point"`
	_               struct{} `apart:"tree replaces"`
}

// TreeSeen is a tree's condition on a day.
type TreeSeen struct {
	Common
	Where     Where  `json:"where" is:",required"`
	Condition string `json:"condition" is:"text,required" enum:"thriving weak failing dead-standing missing"`
	Cause     string `json:"cause" is:"text"`
}

// TreeMeasured is a tree's size on a day.
type TreeMeasured struct {
	Common
	Where       Where     `json:"where" is:",required"`
	Height      *Quantity `json:"height" dim:"length"`
	WidthAlong  *Quantity `json:"canopyWidthAlong" dim:"length" doc:"along the row"`
	WidthAcross *Quantity `json:"canopyWidthAcross" dim:"length" doc:"across the row"`
	SkirtHeight *Quantity `json:"skirtHeight" dim:"length"`
	TrunkGirth  *Quantity `json:"trunkGirth" dim:"length"`
	GirthHeight *Quantity `json:"girthHeight" dim:"length" doc:"at what height the girth was measured"`
}

// Move is one tree's way from one place to another.
type Move struct {
	Tree     string `json:"tree" is:"code,required"`
	From     string `json:"from" is:"code" doc:"the block it stood in: name it where the block changes, for the record to stand in that block's chain"`
	Block    string `json:"block" is:"code,required"`
	Row      string `json:"row" is:"label"`
	Position string `json:"position" is:"label"`
}

// TreeMoved moves trees, or gives their places other names.
type TreeMoved struct {
	Common
	Moves  []Move `json:"moves" is:",required"`
	Reason string `json:"reason" enum:"transplanted renumbered"`
}

// TreeTopworked grafts another cultivar onto standing trees.
type TreeTopworked struct {
	Common
	Where    Where     `json:"where" is:",required"`
	Cultivar string    `json:"cultivar" is:"name,required"`
	Share    *Quantity `json:"share" dim:"share"`
}

// TreeRemoved ends trees.
type TreeRemoved struct {
	Common
	Where  Where  `json:"where" is:",required"`
	Reason string `json:"reason" is:"text"`
}

// Sensor is one instrument of a station.
type Sensor struct {
	What       string    `json:"what" is:"text" doc:"what it measures"`
	Height     *Quantity `json:"height" dim:"length" min:"-10 m" doc:"above the ground; below zero in the soil"`
	Since      string    `json:"since" is:"date"`
	Calibrated string    `json:"calibrated" is:"date"`
}

// StationSited sets up a weather station; once more with the same code: moved or changed.
type StationSited struct {
	Common
	Station   string    `json:"station" is:"code,required"`
	Latitude  float64   `json:"latitude" is:"number,required" min:"-90" max:"90"`
	Longitude float64   `json:"longitude" is:"number,required" min:"-180" max:"180"`
	Elevation *Quantity `json:"elevation" dim:"length" min:"-500 m" doc:"above the sea"`
	Sensors   []Sensor  `json:"sensors" is:""`
	Blocks    []string  `json:"blocks" is:"code" doc:"the blocks it speaks for"`
}
