package ingest

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"latewood/events"
)

func TestProposeMap(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, as, table, want string }{
		{"picks of a cellar book", "", "Date;Block Name;Row;Weight (kg);Picked by;Remarks\n13/06/2026;North Block;1;41,2;P07;\n14/06/2026;South Block;2;40;P07;late\n",
			"kind: picks\ncolumns:\n  Date: time\n  Block Name: block\n  Row: rows\n  Weight (kg): mass[kg]\n  Picked by: picker\n  Remarks: note\n" +
				"names:\n  block:\n    North Block: north-block\n    South Block: south-block\ndateOrder: dmy\ndecimal: comma\n"},
		{"a unit that nobody tells", "picks", "harvest date,plot,yield,colour\n2026-06-01,north,12,red\n",
			"kind: picks\ncolumns:\n  harvest date: time\n  plot: block\n  yield: mass\nignore: [colour]\n"},
		{"a column a day", "picks", "Block,6/1/2026,6/2/2026,6/13/2026\nnorth,1,2,3\n",
			"kind: picks\ncolumns:\n  Block: block\nignore: [6/1/2026, 6/2/2026, 6/13/2026]\n"},
		{"a column a day, in the order of days", "picks", "Block,2026-06-01,2026-06-02,2026-06-13\nnorth,1,2,3\n",
			"kind: picks\ncolumns:\n  Block: block\nunpivot:\n  columns: [\"2026-06-01\", \"2026-06-02\", \"2026-06-13\"]\n  into:\n    heading: time\n    value: mass\n"},
		{"weather", "", "Date,Temp Max (°C),Temp Min (°C),Precip (mm),Wind speed m/s,Sky\n2026-06-01,30,20,0,2,blue\n",
			"kind: weather\ncolumns:\n  Date: time\n  Temp Max (°C): airTemperatureMax[Cel]\n  Temp Min (°C): airTemperatureMin[Cel]\n  Precip (mm): rain[mm]\n  Wind speed m/s: windSpeed[m/s]\nignore: [Sky]\n"},
		{"weather in a logger's words", "weather", "timestamp,temp_f,rh,gust mph,wind dir\n2026-06-01 01:00,70,80,3,180\n",
			"kind: weather\ncolumns:\n  timestamp: time\n  temp_f: airTemperature[[degF]]\n  rh: relativeHumidity\n  gust mph: windGust[[mi_i]/h]\n  wind dir: windDirection\n"},
		{"a date and a clock", "weather", "Date,Hour,Temp (C)\n6/13/2026,01:00,20\n",
			"kind: weather\ncolumns:\n  Date: time.date\n  Hour: time.clock\n  Temp (C): airTemperature[Cel]\ndateOrder: mdy\n"},
		{"a clock alone", "weather", "Hour,Temp (C)\n01:00,20\n", "kind: weather\ncolumns:\n  Temp (C): airTemperature[Cel]\nignore: [Hour]\n"},
		{"trees", "", "Block,Row,Pos,Variety,Year planted\nnorth,1,1,Ardent,2011\n",
			"kind: trees\ncolumns:\n  Block: block\n  Row: row\n  Pos: position\n  Variety: cultivar\n  Year planted: planted\n"},
		{"sprays", "", "Date,Start time,End time,Block,Chemical,Rate (L/ha),Total used (L),Area (ac),Target pest,Operator\n05/14/2026,6:00 AM,7:30 AM,north,Hollow Soap,8,6,1.2,scale,P07\n",
			"kind: sprays\ncolumns:\n  Date: started.date+ended.date\n  Start time: started\n  End time: ended\n  Block: block\n  Chemical: mix[0].product\n  Rate (L/ha): mix[0].rate[L/har]\n  Total used (L): mix[0].total[L]\n" +
				"  Area (ac): areaTreated[[acr_us]]\n  Target pest: target\n  Operator: applicator.code\ndateOrder: mdy\n"},
		{"labels", "", "Product,Reg no,Type,Read by,PHI (days),REI (h),Date\nHollow Soap,TH-1,pesticide,owner,3,4,2026-01-12\n",
			"kind: labels\ncolumns:\n  Product: product\n  Reg no: registration\n  Type: material\n  Read by: readBy\n  PHI (days): withholding[d]\n  REI (h): reentry.hours[h]\n  Date: time\n"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			m, err := Propose(strings.NewReader(tc.table), Options{As: tc.as})
			if err != nil {
				t.Fatal(err)
			}
			text := m.String()
			if _, got, _ := strings.Cut(text, "\n"); strings.TrimLeft(got, "\n") != tc.want || !strings.HasPrefix(text, "# Guessed from the headings.") {
				t.Errorf("got\n%s\nwant\n%s", text, tc.want)
			}
			again, err := ReadMap("m", strings.NewReader(text))
			if err != nil || !reflect.DeepEqual(again, m) {
				t.Errorf("read again: got %+v, %v, want %+v", again, err, m)
			}
			// What is proposed is read, or refused for a unit that nobody told.
			out := read(t, tc.table, Options{Name: "f", Map: m, Station: "hollow"})
			if strings.Contains(out, "is no heading") {
				t.Errorf("the map proposed does not fit: %s", out)
			}
		})
	}
}

func TestProposeRefuses(t *testing.T) {
	t.Parallel()
	var refusals Refusals
	if _, err := Propose(strings.NewReader(`{"type":"x"}`), Options{}); !errors.As(err, &refusals) {
		t.Errorf("JSON Lines: got %v", err)
	}
	if _, err := Propose(strings.NewReader(""), Options{}); !errors.As(err, &refusals) {
		t.Errorf("nothing: got %v", err)
	}
	if m := ProposeMap(events.Standard(), "picks", nil, nil); len(m.Columns) > 0 || m.Kind != "picks" {
		t.Errorf("no headings: got %+v", m)
	}
}
