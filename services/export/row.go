package export

import (
	"cmp"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/projections"
)

// RowOf is a fact as it stands: the data of its latest correction, as the newest version of its kind has them. A reading of
// weather keeps its data in columns, not in the fact; its row is made of its record, see RowOfRecord and Newest.
func RowOf(f *projections.Fact) (Row, error) {
	r := RowOfRecord(f.Record)
	r.Time, r.Corrections = civil.FormatTime(f.Time), len(f.Corrections)
	var err error
	r.Data, err = Newest(f.Kind, f.Version, f.Raw())
	return r, err
}

// RowOfRecord is what the envelope of a record says; the data are the caller's to fill in.
func RowOfRecord(r *events.Record) Row {
	e := r.Envelope
	return Row{
		ID: e.ID, Time: e.Time, Actor: e.Actor, Noted: cmp.Or(e.NotedTime, e.RecordedTime), Recorded: e.RecordedTime,
		Source: e.Source, Batch: e.Batch, DeviceTime: e.DeviceTime, Type: e.Type,
	}
}

// Newest reads data as the newest version of their kind has them.
func Newest(kind string, version int, data []byte) (canon.Value, error) {
	k := events.Standard().Kind(kind)
	if version != k.Version {
		var err error
		if data, err = events.Standard().Upcast(k, version, data); err != nil {
			return canon.Value{}, err
		}
	}
	return canon.Parse(data)
}
