package units_test

import (
	"fmt"

	"latewood/events/units"
)

func ExampleBase() {
	mg, err := units.Base(12.5, "[lb_av]")
	fmt.Println(mg, err)
	_, err = units.Base(12.5, "lbs")
	fmt.Println(err)
	// Output:
	// 5669905 <nil>
	// units: "lbs": unknown unit, nearest is "[lb_av]"
}

func ExampleConvert() {
	celsius, err := units.Convert(68, "[degF]", "Cel")
	fmt.Println(celsius, err)
	_, err = units.Convert(68, "[degF]", "kg")
	fmt.Println(err)
	// Output:
	// 20 <nil>
	// units: "kg": unit of another dimension: it measures mass, not temperature
}

func ExampleShareOut() {
	fmt.Println(units.ShareOut(10_001, []int64{1, 1, 1}, []string{"n-01", "n-02", "n-03"}))
	// Output: [3334 3334 3333]
}

func ExampleFormatNumber() {
	tenth, fifth := 0.1, 0.2
	fmt.Println(units.FormatNumber(tenth+fifth), units.FormatNumber(1e21), units.FormatNumber(1e-7))
	// Output: 0.30000000000000004 1e+21 1e-7
}
