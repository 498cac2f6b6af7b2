package canning

import "slices"

// ChecklistItem is a step of one or more processes.
type ChecklistItem struct {
	Step
	// For are the indices of the processes it belongs to, rising.
	For []int
}

// Checklist merges the procedures of several processes, so that a class reads each line once: in working order, with the
// processes each line belongs to. Processes of different minutes have lines of their own where the rule differs, such as
// the depth of water.
func Checklist(processes []Process) []ChecklistItem {
	return merged(processes, Procedure)
}

// CautionsOf merges the cautions of several processes, the general one first. Without any process the general
// one stands alone.
func CautionsOf(processes []Process) []ChecklistItem {
	if len(processes) == 0 {
		return []ChecklistItem{{Step: general()}}
	}
	return merged(processes, Cautions)
}

// merged keeps the order of the first process in which a line appears, and puts lines that come with a later one
// after the line they follow there.
func merged(processes []Process, stepsOf func(Process) []Step) []ChecklistItem {
	var items []ChecklistItem
	for i, p := range processes {
		after := 0
		for _, step := range stepsOf(p) {
			at := slices.IndexFunc(items, func(item ChecklistItem) bool { return item.Stage == step.Stage && item.Text == step.Text })
			if at < 0 {
				items = slices.Insert(items, after, ChecklistItem{Step: step})
				at = after
			}
			if !slices.Contains(items[at].For, i) {
				items[at].For = append(items[at].For, i)
			}
			after = at + 1
		}
	}
	slices.SortStableFunc(items, func(a, b ChecklistItem) int { return byStage(a.Step, b.Step) })
	return items
}
