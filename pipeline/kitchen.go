package pipeline

import (
	"farthing/pipeline/kitchen"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Kitchen opens an edition's recipes, plans and prices. Tables edited since are
// not in it: run makes the next edition.
func Kitchen(e *result.Edition) (*kitchen.Kitchen, error) {
	then, err := workspace.Open(e.Dir)
	if err != nil {
		return nil, err
	}
	t, err := then.Tables()
	if err != nil {
		return nil, err
	}
	foods, err := kitchen.ReadFoods(then)
	if err != nil {
		return nil, err
	}
	return kitchen.New(e.Dir, then.Settings, t, foods, e)
}
