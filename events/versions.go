package events

import (
	"bytes"
	"fmt"

	"latewood/events/canon"
)

// keep leaves the data of an old version as it came, if what it became was in normal form; else the record is of the newest.
func (a *Accepted) keep(came, became canon.Value) {
	if !bytes.Equal(a.Data, canon.Bytes(became)) {
		a.Version, a.Draft.Type = a.Kind.Version, a.Kind.Type()
		return
	}
	a.newest, a.Draft.Data, a.Data = a.Draft.Data, came.Clone(), canon.Bytes(came)
}

// upcast makes data of an old version into that of the newest, and refuses what is no data of the old one.
func (c *check) upcast(k *Kind, version int, v canon.Value, path string) (canon.Value, bool) {
	told := len(c.problems)
	if v.Kind != canon.Object {
		c.wrong(v, path, wanted(k.Shape))
		return v, false
	}
	if c.free(v, path); len(c.problems) > told {
		return v, false
	}
	up, err := c.door.Catalogue.upcast(k, version, v)
	if err != nil {
		c.add(path, nil, say("refuse.version-data", "type", k.Name+".v"+fmt.Sprint(version)), say("refuse.write", "text", k.Type()))
		return v, false
	}
	return up, true
}

// correctedData checks the inner data of a correction.
func (c *check) correctedData(v *canon.Value, path string) {
	if c.innerVersion == c.inner.Version {
		c.value(v, c.inner.Shape, path)
		return
	}
	told := len(c.problems)
	var ok bool
	if c.innerRead, ok = c.upcast(c.inner, c.innerVersion, *v, path); !ok {
		return
	}
	c.innerData = c.innerRead.Clone()
	c.value(&c.innerData, c.inner.Shape, path)
	if len(c.problems) == told && !bytes.Equal(canon.Bytes(c.innerData), canon.Bytes(c.innerRead)) {
		*v, c.rewritten = c.innerData, true
	}
}
