package legacy_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"latewood/events/canon"
	"latewood/events/internal/legacy"
	"latewood/events/units"
)

func TestWaterWithheld1(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, in, want string }{
		{"centibars, as gauges have them", `"58 cbar"`, `"reading":{"unit":"kPa","value":58}`},
		{"short", `"58cb"`, `"reading":{"unit":"kPa","value":58}`},
		{"below zero", `"-1.25 bar"`, `"reading":{"unit":"bar","value":-1.25}`},
		{"a share", `" 12.5 % "`, `"reading":{"unit":"%","value":12.5}`},
		{"a share of more than all", `"112 %"`, `"readingInWords":"112 %"`},
		{"a share below nothing", `"-1 %"`, `"readingInWords":"-1 %"`},
		{"pounds", `"9 psi"`, `"reading":{"unit":"[psi]","value":9}`},
		{"a depth", `"30 mm"`, `"reading":{"unit":"mm","value":30}`},
		{"a depth below nothing", `"-30 mm"`, `"readingInWords":"-30 mm"`},
		{"a number alone", `"58"`, `"readingInWords":"58"`},
		{"a unit alone", `"kPa"`, `"readingInWords":"kPa"`},
		{"a decimal comma, which might be thousands", `"1,250 mbar"`, `"readingInWords":"1,250 mbar"`},
		{"a range", `"50-60 kPa"`, `"readingInWords":"50-60 kPa"`},
		{"two minuses", `"--5 kPa"`, `"readingInWords":"--5 kPa"`},
		{"a minus alone", `"- kPa"`, `"readingInWords":"- kPa"`},
		{"a point in front", `".5 bar"`, `"readingInWords":".5 bar"`},
		{"a point behind", `"5. bar"`, `"readingInWords":"5. bar"`},
		{"a minus and a point", `"-.5 bar"`, `"readingInWords":"-.5 bar"`},
		{"two points", `"1.2.3 bar"`, `"readingInWords":"1.2.3 bar"`},
		{"powers", `"1e3 kPa"`, `"readingInWords":"1e3 kPa"`},
		{"too much to be one", `"99999999999999999999 kPa"`, `"readingInWords":"99999999999999999999 kPa"`},
		{"a unit of something else", `"58 kg"`, `"readingInWords":"58 kg"`},
		{"words", `"gauge in the red"`, `"readingInWords":"gauge in the red"`},
		{"already a quantity", `{"unit":"kPa","value":58}`, `"reading":{"unit":"kPa","value":58}`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			in := []byte(`{"from":"2025-10-03","reading":` + tc.in + `,"where":{"block":"north"}}`)
			given := slices.Clone(in)
			got, err := legacy.WaterWithheld1(in)
			want := `{"from":"2025-10-03",` + tc.want + `,"where":{"block":"north"}}`
			if err != nil || string(got) != want {
				t.Errorf("got %s, %v\nwant %s", got, err, want)
			}
			again, err := legacy.WaterWithheld1(in)
			if err != nil || !bytes.Equal(again, got) || !bytes.Equal(in, given) {
				t.Errorf("it is not pure: %s, then %s (%v); given %s, now %s", got, again, err, given, in)
			}
			v, err := canon.Parse(got)
			if err != nil {
				t.Fatal(err)
			}
			if q := v.Get("reading"); q.Kind != canon.Absent {
				if _, err := units.Base(q.Get("value").Num, q.Get("unit").Str); err != nil {
					t.Errorf("version 2 cannot hold it: %v", err)
				}
			}
		})
	}
	if got, err := legacy.WaterWithheld1([]byte(`{"from":"2025-10-03"}`)); err != nil || string(got) != `{"from":"2025-10-03"}` {
		t.Errorf("no reading: got %s, %v", got, err)
	}
	if _, err := legacy.WaterWithheld1([]byte(`{"reading":"58 cbar","readingInWords":"dry"}`)); !errors.Is(err, legacy.ErrBothReadings) {
		t.Errorf("both: got %v", err)
	}
	if _, err := legacy.WaterWithheld1([]byte(`{`)); err == nil {
		t.Error("no JSON: no error")
	}
}

// FuzzWaterWithheld1: it takes what it gave once more, gives canonical bytes, and loses no text.
func FuzzWaterWithheld1(f *testing.F) {
	for _, reading := range []string{"58 cbar", "-1.25 bar", "gauge in the red", "12.5 %", "1,250 mbar", "", "\u00e9 kPa"} {
		f.Add(reading)
	}
	f.Fuzz(func(t *testing.T, reading string) {
		in := canon.Bytes(canon.ObjectOf(canon.Member{Name: "reading", Value: canon.Text(reading)}))
		if _, err := canon.Parse(in); err != nil {
			return // no text that a record can hold
		}
		once, err := legacy.WaterWithheld1(in)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := legacy.WaterWithheld1(once)
		if err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("once %s, twice %s, %v", once, twice, err)
		}
		v, err := canon.Parse(once)
		if err != nil || !bytes.Equal(canon.Bytes(v), once) {
			t.Fatalf("%s is not canonical (%v)", once, err)
		}
		if v.Get("reading").Kind == canon.Absent && v.Get("readingInWords").Str != reading {
			t.Fatalf("%q became %s", reading, once)
		}
	})
}
