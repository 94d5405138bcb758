package events

// RecordCorrected gives a record other data. The first bytes stay where they are.
type RecordCorrected struct {
	Common
	Record  string `json:"record" is:"id,required"`
	Type    string `json:"type" is:"type,required" doc:"kind and version of data: the record's own kind"`
	Follows string `json:"follows" is:"id,required" doc:"the version that this one follows: the record, or its latest correction"`
	Reason  string `json:"reason" is:"text,required"`
	Data    Raw    `json:"data" is:"data,required" doc:"the whole data, not the changes"`
	Time    string `json:"time" is:"instant" doc:"when it really happened (a date: the start of that day); absent: the time of the version that it follows"`
}

// RecordWithdrawn says that a record did not happen. It is final.
type RecordWithdrawn struct {
	Common
	Record  string `json:"record" is:"id,required"`
	Follows string `json:"follows" is:"id,required"`
	Reason  string `json:"reason" is:"text,required"`
}

// Span is a run of places, both inclusive.
type Span struct {
	First int      `json:"first" is:"count,required"`
	Last  int      `json:"last" is:"count,required"`
	_     struct{} `order:"first last"`
}

// RecordsReviewed says that somebody looked records over.
type RecordsReviewed struct {
	Common
	Records  []string `json:"records" is:"id"`
	Span     *Span    `json:"span"`
	Reviewer string   `json:"reviewer" is:"person,required"`
	Role     string   `json:"role" is:"text"`
	_        struct{} `oneof:"records span"`
}

// ImportMade closes an import. One without it did not finish.
type ImportMade struct {
	Common
	File     ImportedFile `json:"file" is:",required"`
	Map      string       `json:"map" is:"text" doc:"the column map that was used"`
	Rows     int          `json:"rows" is:"count,required"`
	Recorded int          `json:"recorded" is:"count,required"`
	Refused  int          `json:"refused" is:"count,required"`
}

// ImportedFile names a file that came in.
type ImportedFile struct {
	Name   string `json:"name" is:"text,required"`
	SHA256 string `json:"sha256" is:"sha256,required"`
}

// RuleAdopted says which rule the farm goes by, and from when.
type RuleAdopted struct {
	Common
	Name string `json:"name" is:"name,required"`
	Rule string `json:"rule" is:"text,required" doc:"the rule's whole text"`
	Hash string `json:"hash" is:"sha256,required" doc:"SHA-256 of that text"`
	From string `json:"from" is:"date,required"`
}

// SeasonNamed overrides where a season lies. Both days are inclusive.
type SeasonNamed struct {
	Common
	Season  string   `json:"season" is:"season,required"`
	From    string   `json:"from" is:"date,required"`
	To      string   `json:"to" is:"date,required"`
	Blocks  []string `json:"blocks" is:"code"`
	Species string   `json:"species" is:"name"`
	_       struct{} `order:"from to"`
}

// Typed is a field of a report that a person typed; it is shown as typed.
type Typed struct {
	Field string `json:"field" is:"text,required"`
	Text  string `json:"text" is:"text,required"`
}

// ReportIssued binds a report to the ledger as it stood.
type ReportIssued struct {
	Common
	Kind   string  `json:"kind" is:"text,required"`
	Season string  `json:"season" is:"season"`
	Hash   string  `json:"hash" is:"sha256,required"`
	Size   int     `json:"size" is:"count,required" doc:"records in the ledger"`
	Root   string  `json:"root" is:"base64,required"`
	Typed  []Typed `json:"typed" is:""`
	To     *Party  `json:"to"`
}

// DrillHeld is an exercise of tracing fruit.
type DrillHeld struct {
	Common
	Of        string `json:"of" is:"text,required"`
	Started   string `json:"started" is:"moment,required"`
	Ended     string `json:"ended" is:"moment,required"`
	Direction string `json:"direction" enum:"back forward both"`
	Limits    Raw    `json:"limits" is:"any"`
	Measured  Raw    `json:"measured" is:"any"`
	Gaps      string `json:"gaps" is:"text"`
	Action    string `json:"action" is:"text"`
}

// EvidenceFor names what a bundle was made for: one of the four.
type EvidenceFor struct {
	Lot      string   `json:"lot" is:"lot"`
	Delivery string   `json:"delivery" is:"lot"`
	Spray    string   `json:"spray" is:"id"`
	Block    string   `json:"block" is:"code"`
	Season   string   `json:"season" is:"season"`
	_        struct{} `oneof:"lot delivery spray block"`
}

// Head is the end of a chain as a bundle found it.
type Head struct {
	Chain string `json:"chain" is:"chain,required"`
	Place int    `json:"place" is:"count,required" doc:"place in the chain"`
	Leaf  string `json:"leaf" is:"base64,required"`
}

// EvidenceGiven says what was shown to whom. It is itself the next link of every chain that it names.
type EvidenceGiven struct {
	Common
	For       EvidenceFor `json:"for" is:",required"`
	Recipient *Party      `json:"recipient"`
	Heads     []Head      `json:"heads" is:",required"`
	Size      int         `json:"size" is:"count,required"`
}

// KeyChanged replaces the key that signs checkpoints. Both keys sign for it.
type KeyChanged struct {
	Common
	OldKey string `json:"oldKey" is:"text,required"`
	NewKey string `json:"newKey" is:"text,required"`
	Reason string `json:"reason" is:"text"`
}

// LedgerRestored says that the stream was made again from the archive.
type LedgerRestored struct {
	Common
	SealedSize int    `json:"sealedSize" is:"count,required"`
	Salvaged   int    `json:"salvaged" is:"count,required"`
	Lost       int    `json:"lost" is:"count,required"`
	Words      string `json:"words" is:"text"`
}

// LedgerMoved closes a ledger that goes on elsewhere.
type LedgerMoved struct {
	Common
	To string `json:"to" is:"text,required"`
}

// AccessGranted opens something to somebody outside.
type AccessGranted struct {
	Common
	Grant  string `json:"grant" is:"text,required"`
	Object string `json:"object" is:"text"`
	To     string `json:"to" is:"text"`
	Until  string `json:"until" is:"moment"`
}

// AccessViewed says that a grant was used: one record a grant and day.
type AccessViewed struct {
	Common
	Grant  string `json:"grant" is:"text,required"`
	Object string `json:"object" is:"text"`
}

// AccessEnded ends a grant.
type AccessEnded struct {
	Common
	Grant  string `json:"grant" is:"text,required"`
	Object string `json:"object" is:"text"`
}

// PersonForgotten says that somebody's name was erased from the register.
type PersonForgotten struct {
	Common
	Who    string `json:"who" is:"person,required"`
	Reason string `json:"reason" is:"text"`
}
