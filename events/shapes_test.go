package events_test

import (
	"testing"

	"latewood/events"
)

func TestPartWhole(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		part events.Part
		want bool
	}{
		{events.Part{Block: "north"}, true},
		{events.Part{Block: "north", Share: &events.Quantity{Value: 50, Unit: "%"}, Side: "west"}, true}, // counts as whole: surface.md, holds
		{events.Part{Block: "north", Rows: []string{"1"}}, false},
		{events.Part{Block: "north", Trees: []string{"a"}}, false},
		{events.Part{Block: "north", Except: []string{"a"}}, false},
	} {
		if got := tc.part.Whole(); got != tc.want {
			t.Errorf("%+v: got %v, want %v", tc.part, got, tc.want)
		}
	}
}

func TestMixItemIsActive(t *testing.T) {
	t.Parallel()
	for role, want := range map[string]bool{"": true, events.RoleActive: true, events.RoleAdjuvant: false, events.RoleNutrient: false} {
		if got := (events.MixItem{Role: role}).IsActive(); got != want {
			t.Errorf("role %q: got %v, want %v", role, got, want)
		}
	}
}

func TestCommonFields(t *testing.T) {
	t.Parallel()
	for _, k := range events.Standard().Kinds() {
		c, ok := k.New().(interface{ CommonFields() *events.Common })
		if !ok {
			t.Errorf("%s has no common fields", k.Name)
			continue
		}
		c.CommonFields().Note = "seen"
	}
	if got, want := (events.Quantity{Value: 12.50, Unit: "kg"}).String(), "12.5 kg"; got != want {
		t.Errorf("Quantity: got %q, want %q", got, want)
	}
}
