package events

// TreePruned is a cut. Its time is its end, where it has one.
type TreePruned struct {
	Common
	Where               Where     `json:"where" is:",required"`
	Cut                 string    `json:"cut" is:"text,required" enum:"after-harvest shaping tip hedging topping skirting limb panicle root dead-wood renewal"`
	Started             string    `json:"started" is:"moment"`
	Ended               string    `json:"ended" is:"moment"`
	Complete            *bool     `json:"complete"`
	LengthRemoved       *Quantity `json:"lengthRemoved" dim:"length"`
	ShareOfTerminalsCut *Quantity `json:"shareOfTerminalsCut" dim:"share"`
	ShareOfCanopy       *Quantity `json:"shareOfCanopy" dim:"share"`
	FlushRemoved        string    `json:"flushRemoved" enum:"none soft hardened"`
	HeightAfter         *Quantity `json:"heightAfter" dim:"length"`
	Tool                string    `json:"tool" is:"text"`
	Crew                string    `json:"crew" is:"text"`
	FateOfPrunings      string    `json:"fateOfPrunings" is:"text"`
}

// FlushSeen is a look at the buds and leaves.
type FlushSeen struct {
	Common
	Where            Where     `json:"where" is:",required"`
	Stage            string    `json:"stage" is:"text,required" enum:"no-movement bud-break elongating expanding hardened dormant"`
	ShootLength      *Quantity `json:"shootLength" dim:"length"`
	BudLength        *Quantity `json:"budLength" dim:"length"`
	TerminalsCounted *int      `json:"terminalsCounted"`
	TerminalsInStage *int      `json:"terminalsInThatStage" doc:"of the terminals counted"`
	_                struct{}  `sum:"terminalsCounted terminalsInThatStage"`
	BBCH             string    `json:"bbchCode" is:"label" doc:"stage code of the extended BBCH scale"`
}

// BloomSeen is a look at the panicles.
type BloomSeen struct {
	Common
	Where            Where    `json:"where" is:",required"`
	Stage            string   `json:"stage" enum:"panicles-out male-1 female male-2 over none"`
	BBCH             string   `json:"bbchCode" is:"label" doc:"stage code of the extended BBCH scale"`
	TerminalsCounted *int     `json:"terminalsCounted"`
	LeaflessPanicle  *int     `json:"leaflessPanicle" doc:"of the terminals counted"`
	LeafyPanicle     *int     `json:"leafyPanicle" doc:"of the terminals counted"`
	Vegetative       *int     `json:"vegetative" doc:"of the terminals counted"`
	NoMovement       *int     `json:"noMovement" doc:"of the terminals counted"`
	_                struct{} `oneof:"stage bbchCode"`
	_                struct{} `sum:"terminalsCounted leaflessPanicle leafyPanicle vegetative noMovement"`
}

// CropAssessed judges the crop on the trees.
type CropAssessed struct {
	Common
	Where        Where     `json:"where" is:",required"`
	Crop         string    `json:"crop" is:"text,required" enum:"none light fair heavy failed left-unpicked"`
	Method       string    `json:"method" is:"text,required" enum:"count sample eye adjuster"`
	MassExpected *Quantity `json:"massExpected" dim:"mass"`
	MassLost     *Quantity `json:"massLost" dim:"mass"`
	Cause        string    `json:"cause" is:"text"`
	FruitCounted *int      `json:"fruitCounted"`
	TreesCounted *int      `json:"treesCounted" doc:"on how many trees the fruit were counted"`
}
