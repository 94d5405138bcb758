package events

// DrawnPick is what a load took of a pick.
type DrawnPick struct {
	Pick       string      `json:"pick" is:"id,required" doc:"the fruit.picked"`
	Mass       *Quantity   `json:"mass" dim:"mass" above:"0"`
	Containers []Container `json:"containers" is:""`
	_          struct{}    `oneof:"mass containers"`
}

// Masses are what a weighbridge or platform showed.
type Masses struct {
	Gross *Quantity `json:"gross" dim:"mass"`
	Tare  *Quantity `json:"tare" dim:"mass"`
	Net   *Quantity `json:"net" dim:"mass"`
	_     struct{}  `order:"tare gross"`
	_     struct{}  `order:"net gross"`
}

// FruitDelivered is unpacked fruit that leaves the farm.
type FruitDelivered struct {
	Common
	Delivery          string      `json:"delivery" is:"lot,required" doc:"our load number"`
	Picks             []DrawnPick `json:"picks" is:",required"`
	Recipient         *Party      `json:"recipient" is:",required"`
	Date              string      `json:"date" is:"date,required"`
	Masses            *Masses     `json:"masses"`
	Temperature       *Quantity   `json:"temperature" dim:"temperature"`
	Carrier           *Party      `json:"carrier"`
	Permit            string      `json:"permit" is:"text"`
	ReferenceDocument *Reference  `json:"referenceDocument"`
}

// DeliveryAnswered is what the packer said of a load when it came.
type DeliveryAnswered struct {
	Common
	Delivery    string    `json:"delivery" is:"lot,required"`
	Outcome     string    `json:"outcome" is:"text,required" enum:"accepted part-accepted rejected downgraded"`
	WeighedMass *Quantity `json:"weighedMass" dim:"mass"`
	Ticket      string    `json:"ticket" is:"text"`
	Reason      string    `json:"reason" is:"text"`
}

// Cull is fruit sorted out, with the reason.
type Cull struct {
	Mass   *Quantity `json:"mass" is:",required" dim:"mass"`
	Reason string    `json:"reason" is:"text"`
}

// PackoutReported is what became of loads at somebody else's shed.
type PackoutReported struct {
	Common
	Deliveries         []string        `json:"deliveries" is:"lot,required"`
	Delivered          *Quantity       `json:"delivered" is:",required" dim:"mass" above:"0"`
	Packed             *Quantity       `json:"packed" dim:"mass"`
	Seconds            *Quantity       `json:"seconds" dim:"mass"`
	Culls              OneOrMany[Cull] `json:"culls" is:""`
	Shrink             *Quantity       `json:"shrink" dim:"mass"`
	PackersLotCodes    []string        `json:"packersLotCodes" is:"text" doc:"as told; they are not lots of this ledger"`
	SettlementDocument string          `json:"settlementDocument" is:"text" doc:"which paper settled it"`
}

// FruitReceived is a neighbour's fruit at our shed.
type FruitReceived struct {
	Common
	Delivery          string     `json:"delivery" is:"lot,required" doc:"as told"`
	Source            *Party     `json:"source" is:",required"`
	SourceCovered     string     `json:"sourceCovered" is:"text,required" enum:"yes no as-told" doc:"whether the source is covered by the traceability rule"`
	Date              string     `json:"date" is:"date,required"`
	Commodity         string     `json:"commodity" is:"name,required"`
	Variety           string     `json:"variety" is:"name"`
	Amount            *Quantity  `json:"amount" is:",required" dim:"mass" above:"0"`
	GrowingArea       string     `json:"growingArea" is:"name"`
	HarvestDates      []string   `json:"harvestDates" is:"date"`
	Harvester         *Party     `json:"harvester"`
	Cooling           string     `json:"cooling" is:"text" doc:"where and when it was cooled, as told"`
	EvidenceFile      string     `json:"evidenceFile" is:"sha256" doc:"the bundle that came with it"`
	VerifyResult      string     `json:"verifyResult" is:"text" doc:"what verifying it said"`
	ReferenceDocument *Reference `json:"referenceDocument"`
	_                 struct{}   `order:"harvestDates date"`
}

// PickCooled is the first cooling after picking.
type PickCooled struct {
	Common
	Picks             []string   `json:"picks" is:"id,required"`
	Location          *Party     `json:"location"`
	Date              string     `json:"date" is:"date,required"`
	Method            string     `json:"method" is:"text"`
	Temperature       *Quantity  `json:"temperature" dim:"temperature"`
	NextRecipient     *Party     `json:"nextRecipient"`
	ReferenceDocument *Reference `json:"referenceDocument"`
}

// BinEmptied says that bins stand free again.
type BinEmptied struct {
	Common
	Bins   []string `json:"bins" is:"label,required"`
	Into   string   `json:"into" is:"lot" doc:"the lot that the fruit went into"`
	Washed *bool    `json:"washed"`
}

// PackInput is what a lot was packed from: a pick of ours, a neighbour's fruit, or a bin whose pick is told by the record
// that filled it.
type PackInput struct {
	Pick        string    `json:"pick" is:"id" doc:"the fruit.picked"`
	VersionSeen string    `json:"versionSeen" is:"id" doc:"the version of the pick that was seen: the record, or its correction"`
	Received    string    `json:"received" is:"id" doc:"the fruit.received"`
	Bin         string    `json:"bin" is:"label"`
	Mass        *Quantity `json:"mass" is:",required" dim:"mass" above:"0"`
	_           struct{}  `oneof:"pick received bin"`
}

// Packed is what came out of packing.
type Packed struct {
	Count   int       `json:"count" is:"count,required" above:"0"`
	Kind    string    `json:"kind" is:"name,required" doc:"what they are, as carton"`
	NetMass *Quantity `json:"netMass" is:",required" dim:"mass" above:"0" doc:"of each"`
}

// LotFields are what packing and repacking record alike.
type LotFields struct {
	ReceivedDate      string          `json:"receivedDate" is:"date"`
	Product           string          `json:"product" is:"name,required" doc:"product description: commodity, variety, pack"`
	GTIN              string          `json:"gtin" is:"gtin"`
	Packed            *Packed         `json:"packed" is:",required"`
	Culls             OneOrMany[Cull] `json:"culls" is:""`
	Samples           *Quantity       `json:"samples" dim:"mass" doc:"taken for tests, tasting or keeping"`
	Date              string          `json:"date" is:"date,required"`
	Location          *Party          `json:"location" is:",required" doc:"the lot code's source"`
	Harvester         *Party          `json:"harvester"`
	ReferenceDocument *Reference      `json:"referenceDocument"`
	_                 struct{}        `order:"receivedDate date"`
}

// LotPacked makes a lot and gives it its traceability code. Codes are never reused or corrected: write off and repack.
type LotPacked struct {
	Common
	Lot    string      `json:"lot" is:"lot,required"`
	Inputs []PackInput `json:"inputs" is:",required"`
	LotFields
}

// LotInput is what was taken of a lot.
type LotInput struct {
	Lot    string    `json:"lot" is:"lot,required"`
	Amount *Quantity `json:"amount" is:",required" dim:"mass" above:"0"`
}

// LotRepacked makes a lot of other lots.
type LotRepacked struct {
	Common
	Lot    string     `json:"lot" is:"lot,required"`
	Inputs []LotInput `json:"inputs" is:",required"`
	_      struct{}   `apart:"lot inputs.lot"`
	LotFields
}

// LotTreated is a treatment after picking. Which of dose, temperature and duration say what was done depends on it.
type LotTreated struct {
	Common
	Lot         string    `json:"lot" is:"lot"`
	Delivery    string    `json:"delivery" is:"lot"`
	Treatment   string    `json:"treatment" is:"text,required" enum:"irradiation hot-water vapour-heat cold fumigation dip wax"`
	Label       string    `json:"label" is:"id" doc:"the label.filed of the product"`
	Dose        *Quantity `json:"dose" dim:"mass-per-volume volume-per-volume absorbed-dose share mass volume" doc:"Gy of an irradiation, strength of a bath or gas, ..."`
	Temperature *Quantity `json:"temperature" dim:"temperature"`
	Duration    *Quantity `json:"duration" dim:"duration"`
	Facility    *Party    `json:"facility"`
	Certificate string    `json:"certificate" is:"text"`
	Result      string    `json:"result" is:"text"`
	_           struct{}  `oneof:"lot delivery"`
}

// LotTravels is what receiving and shipping a lot record alike.
type LotTravels struct {
	From               *Party     `json:"from" doc:"where it was shipped from"`
	To                 *Party     `json:"to" doc:"where it was received"`
	Date               string     `json:"date" is:"date,required"`
	ProductDescription string     `json:"productDescription" is:"name"`
	LotCodeSource      *Party     `json:"lotCodeSource"`
	Carrier            *Party     `json:"carrier"`
	Permit             string     `json:"permit" is:"text"`
	Treatments         []string   `json:"treatments" is:"text"`
	Temperature        *Quantity  `json:"temperature" dim:"temperature"`
	ReferenceDocument  *Reference `json:"referenceDocument"`
}

// LotReceived is a lot that came in.
type LotReceived struct {
	Common
	Lot            string    `json:"lot" is:"lot,required"`
	Amount         *Quantity `json:"amount" is:",required" dim:"mass" above:"0"`
	PreviousSource *Party    `json:"previousSource"`
	LotTravels
}

// LotShipped is a lot that went out.
type LotShipped struct {
	Common
	Lot       string    `json:"lot" is:"lot,required"`
	Amount    *Quantity `json:"amount" is:",required" dim:"mass" above:"0"`
	Recipient *Party    `json:"recipient" is:",required"`
	LotTravels
}

// Told is somebody who was told, and what they answered.
type Told struct {
	Party  *Party `json:"party" is:",required"`
	When   string `json:"when" is:"moment"`
	How    string `json:"how" is:"text"`
	Answer string `json:"answer" is:"text"`
}

// LotFate is what rejecting, returning and recalling record alike.
type LotFate struct {
	Lot       string    `json:"lot" is:"lot"`
	Lots      []string  `json:"lots" is:"lot" doc:"where it is more than one"`
	Amount    *Quantity `json:"amount" dim:"mass" above:"0"`
	Recipient *Party    `json:"recipient" doc:"who had been sent it"`
	From      *Party    `json:"from" doc:"who sends it back"`
	Reason    string    `json:"reason" is:"text,required"`
	Date      string    `json:"date" is:"date"`
	Condition string    `json:"condition" is:"text"`
	Told      []Told    `json:"told" is:""`
	Recovered *Quantity `json:"recovered" dim:"mass"`
	_         struct{}  `oneof:"lot lots"`
	_         struct{}  `oneof:"recipient from"`
}

// LotRejected is a lot that a buyer did not take.
type LotRejected struct {
	Common
	LotFate
}

// LotReturned is a lot that came back.
type LotReturned struct {
	Common
	LotFate
}

// LotRecalled is a lot that is called back.
type LotRecalled struct {
	Common
	LotFate
}

// LotHeld keeps a lot or load back, by hand.
type LotHeld struct {
	Common
	Lot          string   `json:"lot" is:"lot"`
	Delivery     string   `json:"delivery" is:"lot"`
	Reason       string   `json:"reason" is:"text,required"`
	Answers      []string `json:"answers" is:"text" doc:"the flags that made somebody hold it"`
	Document     string   `json:"document" is:"sha256" doc:"one of the attachments"`
	SecondPerson string   `json:"secondPerson" is:"person"`
	_            struct{} `oneof:"lot delivery"`
}

// LotReleased lets it go, by a person's decision.
type LotReleased struct {
	Common
	Lot          string   `json:"lot" is:"lot"`
	Delivery     string   `json:"delivery" is:"lot"`
	Basis        string   `json:"basis" is:"text,required" enum:"interval-run test-result authority entered-wrong"`
	Answers      []string `json:"answers" is:"text,required" doc:"the flags that it answers, as FLAG or FLAG:ID of the record; the id of the lot.held that it ends"`
	Document     string   `json:"document" is:"sha256" doc:"one of the attachments"`
	SecondPerson string   `json:"secondPerson" is:"person"`
	_            struct{} `oneof:"lot delivery"`
}

// Money is an amount in a currency.
type Money struct {
	Amount   float64 `json:"amount" is:"number,required"`
	Currency string  `json:"currency" is:"currency,required"`
}

// FruitSold is fruit that goes to who eats it or cooks it: out of a block (u-pick), of picks, or of a lot.
type FruitSold struct {
	Common
	Channel string    `json:"channel" is:"text,required" enum:"u-pick farm-stand market direct donated own-use processing"`
	Picks   []string  `json:"picks" is:"id"`
	Lot     string    `json:"lot" is:"lot"`
	Where   Where     `json:"where" is:""`
	Amount  *Quantity `json:"amount" dim:"mass" above:"0" doc:"of all of it together"`
	Buyer   *Party    `json:"buyer"`
	Value   *Money    `json:"value"`
	_       struct{}  `oneof:"picks lot where"`
}

// LotWrittenOff is fruit that is no more.
type LotWrittenOff struct {
	Common
	Lot    string    `json:"lot" is:"lot"`
	Picks  []string  `json:"picks" is:"id"`
	Amount *Quantity `json:"amount" is:",required" dim:"mass" above:"0" doc:"of all of it together"`
	Reason string    `json:"reason" is:"text,required"`
	_      struct{}  `oneof:"lot picks"`
}

// StockItem is what was found of a lot or pick.
type StockItem struct {
	Lot    string    `json:"lot" is:"lot"`
	Pick   string    `json:"pick" is:"id"`
	Amount *Quantity `json:"amount" is:",required" dim:"mass"`
	_      struct{}  `oneof:"lot pick"`
}

// StockCounted is what lies in store.
type StockCounted struct {
	Common
	Location string      `json:"location" is:"name,required"`
	Items    []StockItem `json:"items" is:",required"`
}
