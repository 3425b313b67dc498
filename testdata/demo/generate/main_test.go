package main

import "testing"

// The demo must stand as its description says, and the committed files must be the generator's.
func TestDemo(t *testing.T) {
	const dir = "../.."
	d, err := build(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range append(d.faults(), d.stale(dir)...) {
		t.Error(err)
	}
}
