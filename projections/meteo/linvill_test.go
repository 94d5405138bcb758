package meteo

import "testing"

// Check table hourly_from_minmax_linvill.csv, tolerance 0.02 C and 0.001 h.
// Computed in plain Python for this project, the continuous night form.
func TestLinvillAgainstTheCheckTable(t *testing.T) {
	t.Parallel()
	worst := 0.0
	for _, r := range vectors(t, "hourly_from_minmax_linvill.csv", 72) {
		d := LinvillDay{
			DayOfYear: int(r.num("doy")), Latitude: r.num("lat_deg"),
			PrevMin: r.num("tmin_prev"), PrevMax: r.num("tmax_prev"),
			Min: r.num("tmin"), Max: r.num("tmax"), NextMin: r.num("tmin_next"),
		}
		temps, from, err := Linvill(d)
		if err != nil {
			t.Fatal(err)
		}
		h := int(r.num("hour"))
		near(t, r.text("case")+" hour "+r.text("hour"), temps[h], r.num("T_C"), 0.02)
		if diff := temps[h] - r.num("T_C"); diff > worst || -diff > worst {
			worst = max(diff, -diff)
		}
		_ = from
	}
	t.Log(worst)
}
