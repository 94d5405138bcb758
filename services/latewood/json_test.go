package main

import (
	"fmt"
	"strconv"

	"latewood/events/canon"
)

// lookUp walks a JSON document: names of members and numbers of items; len is the number of items.
func lookUp(document string, path []string) (string, error) {
	v, err := canon.Parse([]byte(document))
	if err != nil {
		return "", err
	}
	for _, step := range path {
		if step == "len" {
			return strconv.Itoa(len(v.Items)), nil
		}
		if n, err := strconv.Atoi(step); err == nil && v.Kind == canon.List {
			if n >= len(v.Items) {
				return "", fmt.Errorf("item %d of %d", n, len(v.Items))
			}
			v = v.Items[n]
			continue
		}
		v = v.Get(step)
	}
	if v.Kind == canon.Absent {
		return "", nil
	}
	if v.Kind == canon.String {
		return v.Str, nil
	}
	return string(canon.Bytes(v)), nil
}
