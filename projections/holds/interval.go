package holds

import "time"

// An Interval is what one spray closes in a block, whatever the day: until when by the numbers, and whether somebody must
// read the label. Times are RFC 3339 with the farm's offset, "" where no number says one.
type Interval struct {
	Spray     string `json:"spray"`
	Pick      string `json:"pick,omitempty"`
	ReadPick  bool   `json:"readPick,omitempty"` // a line of the label gives no number, and no judgement answers it
	Enter     string `json:"enter,omitempty"`
	ReadEnter bool   `json:"readEnter,omitempty"`
}

// Intervals lists what each spray of the block closes, in order of time and id: for asking what a correction moved.
func (s *State) Intervals(zone *time.Location) []Interval {
	var out []Interval
	for i := range s.Sprays {
		spray := &s.Sprays[i]
		if spray.Kind == "spray.planned" || spray.Kind == "spray.begun" {
			continue
		}
		one := Interval{Spray: spray.ID}
		var pick, enter Instant
		side := func(lines []Line, until *Instant, read *bool) {
			for _, l := range lines {
				if l.Reason == "" {
					*until = max(*until, l.Opens)
					continue
				}
				judged := false
				for _, j := range spray.Judged {
					if !j.Narrow || plain(j.Words) == plain(l.Words) {
						judged = true
						*until = max(*until, j.From)
					}
				}
				*read = *read || !judged
			}
		}
		for n := range spray.Spans {
			side(spray.Spans[n].Pick, &pick, &one.ReadPick)
			side(spray.Spans[n].Enter, &enter, &one.ReadEnter)
		}
		one.Pick, one.Enter = pick.text(zone), enter.text(zone)
		out = append(out, one)
	}
	return out
}
