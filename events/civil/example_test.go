package civil_test

import (
	"fmt"
	"time"

	"latewood/events/civil"
)

func ExampleDayLength() {
	zone, err := civil.Zone("Australia/Lord_Howe")
	if err != nil {
		fmt.Println(err)
		return
	}
	day := civil.Date{Year: 2026, Month: time.April, Day: 5}
	fmt.Println(civil.FormatTime(civil.DayStart(day, zone)), civil.DayLength(day, zone))
	// Output: 2026-04-05T00:00:00+11:00 24h30m0s
}

func ExampleSeries() {
	zone, err := civil.Zone("America/New_York")
	if err != nil {
		fmt.Println(err)
		return
	}
	logger := civil.Series{Zone: zone}
	night := civil.Date{Year: 2026, Month: time.November, Day: 1}
	for _, hour := range []int{0, 1, 1, 2} {
		at, err := logger.Next(civil.Wall{Date: night, Hour: hour})
		fmt.Println(civil.FormatTime(at), err)
	}
	// Output:
	// 2026-11-01T00:00:00-04:00 <nil>
	// 2026-11-01T01:00:00-04:00 <nil>
	// 2026-11-01T01:00:00-05:00 <nil>
	// 2026-11-01T02:00:00-05:00 <nil>
}

func ExampleParseTime() {
	zone, err := civil.Zone("America/New_York")
	if err != nil {
		fmt.Println(err)
		return
	}
	stamp, err := civil.ParseTime("2026-05-03T14:10", zone)
	fmt.Println(civil.FormatTime(stamp.At), stamp.Precision, err)
	_, err = civil.ParseTime("2026-03-08T02:30", zone)
	fmt.Println(err)
	// Output:
	// 2026-05-03T14:10:00-04:00 minute <nil>
	// civil: 2026-03-08T02:30:00 in America/New_York: local time was skipped: clocks moved on by 1h0m0s to 2026-03-08T03:00:00-04:00
}

func ExampleCropYear() {
	day := civil.Date{Year: 2025, Month: time.December, Day: 20}
	fmt.Println(civil.CropYear(day, civil.DefaultTurn(27.5)), civil.CropYear(day, civil.DefaultTurn(-26.7)))
	// Output: 2026 2025/26
}
