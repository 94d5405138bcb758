package ingest

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"latewood/events"
	"latewood/events/units"
)

// sampled is how many rows Propose looks at.
const sampled = 200

// Propose guesses a map for a table from its headings and first rows. What the options say already (As, dates, decimals)
// holds. The error is Refusals where the file is no table.
func Propose(r io.Reader, o Options) (*Map, error) {
	if o.Catalogue == nil {
		o.Catalogue = events.Standard()
	}
	br, head, err := begin(r, o.Name)
	if err != nil {
		return nil, err
	}
	if isWorkbook(head) {
		return proposeBook(br, o)
	}
	if isGeoJSON(o, head) {
		return proposeGeo(br, o)
	}
	headings, rows, err := sample(br, head, o.Name, sampled)
	if err != nil {
		return nil, err
	}
	m := ProposeMap(o.Catalogue, o.As, headings, rows)
	m.DateOrder, m.DecimalComma = cmp.Or(o.DateOrder, m.DateOrder), o.DecimalComma || m.DecimalComma
	return m, nil
}

// sample reads the headings of a table and up to n of its rows, for ProposeMap. Rows that are broken as a whole are left
// out. The error is Refusals where the file is no table.
func sample(br *bufio.Reader, head []byte, name string, n int) (headings []string, rows [][]string, err error) {
	if bytes.TrimLeft(head, " \t\r\n")[0] == '{' {
		return nil, nil, refused(name, 1, "", events.Problem{Why: say("ingest.no-table"), Instead: say("ingest.no-table-instead")})
	}
	g, headings, _, err := openCSV(newLines(br, head), name, 0)
	if err != nil {
		return nil, nil, err
	}
	rows, err = some(g, n)
	return headings, rows, err
}

// some reads up to n rows of a grid.
func some(g grid, n int) (rows [][]string, err error) {
	for len(rows) < n {
		cells, _, problems, err := g.row()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if len(problems) > 0 || len(cells) > 0 && isExample(cells[0].text) {
			continue
		}
		row := make([]string, len(cells))
		for i, c := range cells {
			row[i] = c.text
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// proposeBook guesses a map for a workbook: from the sheet that was named, or from the first. Where all sheets have the same
// headings, and none of them tells the block, each is probably a block.
func proposeBook(r io.Reader, o Options) (*Map, error) {
	b, err := openBook(r, o.Name)
	if err != nil {
		return nil, err
	}
	found, err := openSheets(b, &Map{}, o)
	if err != nil {
		return nil, err
	}
	rows, err := some(found[0].grid, sampled)
	if err != nil {
		return nil, err
	}
	m := ProposeMap(o.Catalogue, o.As, found[0].headings, rows)
	m.DateOrder, m.DecimalComma = cmp.Or(o.DateOrder, m.DateOrder), o.DecimalComma || m.DecimalComma
	if len(found) == 1 {
		return m, nil
	}
	alike := !slices.ContainsFunc(found, func(s opened) bool { return !slices.Equal(s.headings, found[0].headings) })
	k, p := kindOf(o.Catalogue, m.Kind)
	if !alike || p != nil || newSheet(k).where == nil || slices.ContainsFunc(m.Columns, func(c MapColumn) bool { return c.Field == "block" }) {
		m.Sheets = []string{found[0].grid.name}
		return m, nil
	}
	m.SheetInto = "block"
	for _, s := range found {
		m.Sheets = append(m.Sheets, s.grid.name)
		code := events.NearestCode(s.grid.name)
		if code == "" || events.IsCode(s.grid.name) {
			continue
		}
		if m.Names == nil {
			m.Names = map[string]map[string]string{}
		}
		if m.Names["block"] == nil {
			m.Names["block"] = map[string]string{}
		}
		m.Names["block"][s.grid.name] = code
	}
	return m, nil
}

// ProposeMap guesses from headings and some rows what the columns of a table mean: for a person to read, correct and keep,
// never to be used unread. as is a kind or table; empty, the table of which the most headings are known. What it cannot
// guess it leaves out under ignore, and where it cannot tell a unit it names the field without one, which Open refuses.
func ProposeMap(c *events.Catalogue, as string, headings []string, rows [][]string) *Map {
	if k, p := kindOf(c, as); p == nil {
		return propose(newSheet(k), headings, rows)
	}
	var best *Map
	most := -1
	for _, name := range Tables() {
		k, p := kindOf(c, name)
		if p != nil {
			continue // a catalogue of a test
		}
		m := propose(newSheet(k), headings, rows)
		s := newSheet(k)
		known := 2 * len(m.Columns)
		for i := range k.Shape.Fields {
			// A column for a field that must stand says more than one for any other.
			if f := &k.Shape.Fields[i]; f.Required && slices.ContainsFunc(m.Columns, func(c MapColumn) bool {
				fields, _ := s.reads(c.Field)
				return len(fields) > 0 && fields[0].attr == "" && fields[0].steps[0].name == f.Name
			}) {
				known++
			}
		}
		if known > most {
			best, most = m, known
		}
	}
	if best == nil {
		return &Map{}
	}
	return best
}

// A clue is words of a heading and the field that they tell of.
type clue struct {
	words string // all of them, in any order
	field string
}

// general clues hold for every kind that has the field.
//
//words:data words that people use in the headings of their tables; common practice
var generalClues = []clue{
	{"date time", "time"}, {"timestamp", "time"}, {"datetime", "time"}, {"date", "time"}, {"day", "time"}, {"when", "time"}, {"time", "time"}, {"hour", "time.clock"},
	{"block", "block"}, {"plot", "block"}, {"section", "block"}, {"paddock", "block"}, {"orchard", "block"}, {"field", "block"},
	{"row", "rows"}, {"rows", "rows"}, {"line", "rows"}, {"tree", "trees"}, {"trees", "trees"}, {"tree id", "trees"}, {"tree code", "trees"},
	{"note", "note"}, {"notes", "note"}, {"remark", "note"}, {"remarks", "note"}, {"comment", "note"}, {"comments", "note"},
}

//words:data words that people use in the headings of their tables; common practice
var clues = map[string][]clue{
	blockKind: {
		{"block", "block"}, {"code", "block"}, {"name", "name"}, {"area", "area"}, {"hectares", "area"}, {"ha", "area"}, {"acres", "area"}, {"ac", "area"}, {"since", "time"},
		{"established", "time"},
	},
	treeKind: {
		{"row", "row"}, {"line", "row"}, {"position", "position"}, {"pos", "position"}, {"space", "position"}, {"tree", "tree"}, {"tree id", "tree"}, {"code", "tree"},
		{"tag", "tree"}, {"variety", "cultivar"}, {"cultivar", "cultivar"}, {"planted", "planted"}, {"planting", "planted"}, {"year", "planted"}, {"date", "planted"},
		{"rootstock", "rootstock"}, {"nursery", "source.name"},
	},
	pickKind: {
		{"weight", "mass"}, {"mass", "mass"}, {"kg", "mass"}, {"kilos", "mass"}, {"lb", "mass"}, {"lbs", "mass"}, {"pounds", "mass"}, {"harvest", "mass"}, {"yield", "mass"},
		{"picked", "mass"}, {"harvested", "mass"}, {"ticket", "ticket"}, {"crew", "crew"}, {"team", "crew"}, {"picker", "picker"}, {"scale", "scale"}, {"basis", "massBasis"},
		{"picked by", "picker"}, {"date picked", "time"}, {"picked on", "time"}, {"harvest date", "time"}, {"pick date", "time"},
	},
	sprayKind: {
		{"date", "started.date+ended.date"}, {"start", "started"}, {"started", "started"}, {"begin", "started"}, {"start time", "started"}, {"end", "ended"}, {"ended", "ended"},
		{"finish", "ended"}, {"stop", "ended"}, {"end time", "ended"}, {"finish time", "ended"}, {"product", "mix[0].product"}, {"chemical", "mix[0].product"},
		{"material", "mix[0].product"}, {"label", "mix[0].label"}, {"registration", "mix[0].registration"}, {"reg", "mix[0].registration"}, {"rate", "mix[0].rate"},
		{"dose", "mix[0].rate"}, {"total", "mix[0].total"}, {"amount", "mix[0].total"}, {"used", "mix[0].total"}, {"batch", "mix[0].batch"}, {"area", "areaTreated"},
		{"target", "target"}, {"pest", "target"}, {"disease", "target"}, {"purpose", "purpose"}, {"applicator", "applicator.code"}, {"operator", "applicator.code"},
		{"equipment", "equipmentKind"}, {"water", "mixVolume"}, {"volume", "mixVolume"}, {"stage", "cropStage"}, {"tanks", "tanks"},
	},
	labelKind: {
		{"product", "product"}, {"registration", "registration"}, {"reg", "registration"}, {"material", "material"}, {"type", "material"}, {"read by", "readBy"},
		{"reader", "readBy"}, {"phi", "withholding"}, {"withholding", "withholding"}, {"whp", "withholding"}, {"pre harvest", "withholding"}, {"preharvest", "withholding"},
		{"rei", "reentry.hours"}, {"reentry", "reentry.hours"}, {"re entry", "reentry.hours"}, {"active", "activeIngredients[0].name"},
		{"active ingredient", "activeIngredients[0].name"}, {"crop", "crop"}, {"signal word", "signalWord"}, {"version", "labelVersion"}, {"jurisdiction", "jurisdiction"},
		{"region", "region"}, {"filed", "time"},
	},
	weatherKind: {
		{"tmax", "airTemperatureMax"}, {"temp max", "airTemperatureMax"}, {"temperature max", "airTemperatureMax"}, {"temp high", "airTemperatureMax"}, {"max", "airTemperatureMax"},
		{"tmin", "airTemperatureMin"}, {"temp min", "airTemperatureMin"}, {"temperature min", "airTemperatureMin"}, {"temp low", "airTemperatureMin"}, {"min", "airTemperatureMin"},
		{"maximum temperature", "airTemperatureMax"}, {"minimum temperature", "airTemperatureMin"}, {"temp", "airTemperature"}, {"temperature", "airTemperature"},
		{"tavg", "airTemperature"}, {"rh", "relativeHumidity"}, {"humidity", "relativeHumidity"}, {"rain", "rain"}, {"precip", "rain"}, {"precipitation", "rain"}, {"prcp", "rain"},
		{"rainfall", "rain"}, {"wind", "windSpeed"}, {"wind speed", "windSpeed"}, {"gust", "windGust"}, {"wind gust", "windGust"}, {"wind dir", "windDirection"},
		{"wind direction", "windDirection"}, {"solar", "solarRadiation"}, {"radiation", "solarRadiation"}, {"solar radiation", "solarRadiation"}, {"wet bulb", "wetBulb"},
		{"leaf wetness", "leafWetness"}, {"soil temp", "soilTemperature"}, {"soil temperature", "soilTemperature"}, {"station", "station"},
	},
}

// propose guesses the columns for one kind.
func propose(s *sheet, headings []string, rows [][]string) *Map {
	m := &Map{Kind: tableName(s.kind)}
	taken := map[string]bool{}
	var dates []string
	for i, h := range headings {
		if h == "" {
			continue
		}
		if date, f := AnyOrder.normal(h); f == nil && len(date) == len("2006-01-02") && date[4] == '-' {
			dates = append(dates, h)
			continue
		}
		text := s.guess(h)
		var fields []*field
		if text != "" {
			var ok bool
			if fields, ok = s.reads(text); !ok { // a unit is missing: name the field all the same
				fields, ok = s.reads(s.withSomeUnit(text))
				if !ok {
					text = ""
				}
			}
		}
		if text == "" || taken[places(fields)] {
			m.Ignore = append(m.Ignore, h)
			continue
		}
		taken[places(fields)] = true
		m.Columns = append(m.Columns, MapColumn{h, text})
		for _, f := range fields {
			m.look(f, text, cellsUnder(rows, i))
		}
	}
	if len(dates) > 2 && s.kind.Shape.Field("mass") != nil { // a column a day
		m.Unpivot = &Unpivot{Columns: dates, Heading: "time", Value: "mass"}
	} else {
		m.Ignore = append(m.Ignore, dates...)
	}
	m.clocks()
	return m
}

// clocks makes the halves of the time fit: a clock without a date is nothing, and a date without a clock is the time.
func (m *Map) clocks() {
	at := func(fields ...string) int {
		return slices.IndexFunc(m.Columns, func(c MapColumn) bool { return slices.Contains(fields, c.Field) })
	}
	clock, date := at("time.clock"), at("time", "time.date")
	switch {
	case date >= 0 && clock >= 0:
		m.Columns[date].Field = "time.date"
	case date >= 0:
		m.Columns[date].Field = "time"
	case clock >= 0:
		m.Ignore = append(m.Ignore, m.Columns[clock].Heading)
		m.Columns = slices.Delete(m.Columns, clock, clock+1)
	}
}

// write is the right side of a map that leads to the fields.
func (s *sheet) write(fields []*field) string {
	var out []string
	for _, f := range fields {
		text := strings.TrimPrefix(f.path(), "data.")
		if bare := strings.TrimPrefix(text, "where."); bare != text && ownField(s.kind.Shape, bare) == nil {
			text = bare
		}
		switch {
		case f.part == datePart:
			text += ".date"
		case f.part == clockPart:
			text += ".clock"
		case f.unit != "":
			text += "[" + f.unit + "]"
		}
		out = append(out, text)
	}
	return strings.Join(out, "+")
}

// tableName is the shortest name of a kind.
func tableName(k *events.Kind) string {
	for _, t := range Tables() {
		if named[t] == k.Name {
			return t
		}
	}
	return k.Name
}

// places names where fields lead, to see that no two columns lead there.
func places(fields []*field) string {
	var out []string
	for _, f := range fields {
		p := f.path()
		switch f.part {
		case datePart:
			p += ".date"
		case clockPart:
			p += ".clock"
		}
		out = append(out, p)
	}
	return strings.Join(out, "+")
}

func cellsUnder(rows [][]string, i int) []string {
	var out []string
	for _, r := range rows {
		if i < len(r) {
			if text := strip(r[i]); text != "" {
				out = append(out, text)
			}
		}
	}
	return out
}

// withSomeUnit makes a heading readable that lacks only its unit.
func (s *sheet) withSomeUnit(text string) string {
	first, _, _ := strings.Cut(text, "+")
	if f, fault := s.walk(first); fault == nil && f.shape.Form == events.FormQuantity {
		return inBrackets(text, f.shape.Dims)
	}
	return text + "[d]" // a line that is counted in days
}

// inParentheses is a unit as people add it: Weight (kg), Temp [°C].
var inParentheses = regexp.MustCompile(`^(.*?)\s*[(\[]([^()\[\]]+)[)\]]\s*$`)

// guess finds the field that a heading probably means, with its unit where the heading tells one; "" if there is none.
func (s *sheet) guess(heading string) string {
	if fields, ok := s.reads(heading); ok {
		return s.write(fields)
	}
	base, unit := heading, ""
	if p := inParentheses.FindStringSubmatch(heading); p != nil {
		base, unit = p[1], p[2]
	}
	tokens := tokensOf(base)
	path, used := s.byClue(tokens)
	if path == "" {
		var names []string
		for _, h := range s.headings() {
			names = append(names, strings.TrimSuffix(h.Text, "_"+lastUnit(h)))
		}
		if path = nearest(strings.Join(tokens, ""), names); path == "" {
			return ""
		}
		used = tokens
	}
	first, _, _ := strings.Cut(path, "+")
	f, fault := s.walk(first)
	if fault != nil {
		return path
	}
	if unit == "" { // what the clue left of the heading, or its whole: "kg"
		var rest []string
		for _, t := range tokens {
			if !slices.Contains(used, t) {
				rest = append(rest, t)
			}
		}
		unit = strings.Join(rest, " ")
		if unit == "" && len(tokens) == 1 {
			unit = tokens[0]
		}
	}
	if code := unitIn(unit); code != "" && (f.shape.Form == events.FormQuantity || f.shape.Form == events.FormObject || f.bareUnit() == code) {
		with := path + "[" + code + "]"
		if _, ok := s.reads(with); ok {
			return with
		}
	}
	return path
}

func lastUnit(h Heading) string {
	if len(h.Units) == 0 {
		return "\x00"
	}
	return h.Text[strings.LastIndexByte(h.Text, '_')+1:]
}

// unitIn finds the unit that a text means.
func unitIn(text string) string {
	text = strip(text)
	if text == "" {
		return ""
	}
	if _, ok := units.Lookup(text); ok {
		return text
	}
	if code, ok := units.Suffix(text); ok {
		return code
	}
	return units.Nearest(text)
}

// byClue finds the clue of which most words stand in the heading.
func (s *sheet) byClue(tokens []string) (field string, used []string) {
	for _, c := range slices.Concat(clues[s.kind.Name], generalClues) {
		words := strings.Fields(c.words)
		if len(words) <= len(used) || slices.ContainsFunc(words, func(w string) bool { return !slices.Contains(tokens, w) }) {
			continue
		}
		first, _, _ := strings.Cut(c.field, "+")
		if _, fault := s.walk(first); fault == nil {
			field, used = c.field, words
		}
	}
	return field, used
}

// tokensOf cuts a heading into small words: at what is no letter or digit, and before capitals.
func tokensOf(heading string) []string {
	var out []string
	var word []rune
	flush := func() {
		if len(word) > 0 {
			out = append(out, string(word))
			word = word[:0]
		}
	}
	before := ' '
	for _, r := range heading {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '°' && r != '%' && r != '/':
			flush()
		case unicode.IsUpper(r) && unicode.IsLower(before):
			flush()
			fallthrough
		default:
			word = append(word, unicode.ToLower(r))
		}
		before = r
	}
	flush()
	return out
}

// look learns from the cells of a column: the order of its dates, its decimal sign, names that are no codes.
func (m *Map) look(f *field, text string, cells []string) {
	form := f.shape.Form
	switch {
	case f.timed() || form == events.FormDate || form == events.FormPartial:
		for _, c := range cells {
			day, _ := cutClock(c)
			if _, bad := DMY.date(day, c); bad != nil && bad.why.Key == "ingest.date-order-other" && m.DateOrder == AnyOrder {
				m.DateOrder = MDY
			}
			if _, bad := MDY.date(day, c); bad != nil && bad.why.Key == "ingest.date-order-other" && m.DateOrder == AnyOrder {
				m.DateOrder = DMY
			}
		}
	case form == events.FormQuantity || form == events.FormNumber:
		if slices.ContainsFunc(cells, func(c string) bool {
			return commaNumber.MatchString(c) && !groupComma.MatchString(c) && strings.Contains(c, ",")
		}) {
			m.DecimalComma = true
		}
	case form == events.FormCode:
		for _, c := range cells {
			code := events.NearestCode(c)
			if events.IsCode(c) || code == "" {
				continue
			}
			if m.Names == nil {
				m.Names = map[string]map[string]string{}
			}
			if m.Names[text] == nil {
				m.Names[text] = map[string]string{}
			}
			m.Names[text][c] = code
		}
	}
}
