package events

// Container is a bin or crate of one pick, or several alike.
type Container struct {
	ID    string    `json:"id" is:"label"`
	Kind  string    `json:"kind" is:"name" doc:"as the setting container-mass.KIND calls it"`
	Count *int      `json:"count" above:"0" doc:"absent: one"`
	Tare  *Quantity `json:"tare" dim:"mass"`
}

// Grades splits a pick by mass.
type Grades struct {
	First  *Quantity `json:"first" dim:"mass"`
	Second *Quantity `json:"second" dim:"mass"`
	Cull   *Quantity `json:"cull" dim:"mass"`
}

// Reference is somebody else's paper.
type Reference struct {
	Type   string `json:"type" is:"text"`
	Number string `json:"number" is:"text"`
}

// FruitPicked is fruit off the trees. It carries no traceability lot code: that is made at packing.
type FruitPicked struct {
	Common
	Where             Where       `json:"where" is:",required"`
	Mass              *Quantity   `json:"mass" dim:"mass" above:"0"`
	Containers        []Container `json:"containers" is:""`
	MassBasis         string      `json:"massBasis" enum:"scale counted estimated packer-ticket"`
	Scale             string      `json:"scale" is:"text"`
	Ticket            string      `json:"ticket" is:"text"`
	Picker            string      `json:"picker" is:"person"`
	Crew              string      `json:"crew" is:"text"`
	Grades            *Grades     `json:"grades"`
	CullReasons       []string    `json:"cullReasons" is:"text"`
	Condition         string      `json:"condition" enum:"dry wet hot"`
	LengthCutBack     *Quantity   `json:"lengthCutBackWithTheFruit" dim:"length" doc:"of the branch"`
	Use               string      `json:"use" is:"text"`
	NextRecipient     *Party      `json:"nextRecipient"`
	ReferenceDocument *Reference  `json:"referenceDocument"`
	_                 struct{}    `oneof:"mass containers"`
}

// HarvestClosed says that nothing more is to be picked there this season.
type HarvestClosed struct {
	Common
	Where Where  `json:"where" is:",required"`
	Date  string `json:"date" is:"date,required"`
}
