package questions

import "sort"

// Likely is a question as grouping and search see it.
type Likely struct {
	// ID breaks ties, so that the same questions always give the same groups.
	ID   string
	Gist Gist
}

// Group is a suggestion that some questions ask the same thing. It decides
// nothing: merging is the instructor's.
type Group struct {
	// Members are the positions of the questions in the list given, in its order.
	Members []int
	// Likeness is the lowest score between any two members.
	Likeness float64
}

type scored struct {
	a, b  int
	score float64
}

// SuggestGroups puts questions together when every two of them are alike by
// LikenessThreshold (complete linkage: a chain of half-likes makes no group).
// Pairs join from the most alike down, ties by ID, so the same questions give
// the same groups whatever order they come in. Questions alone are left out.
func SuggestGroups(list []Likely) []Group {
	pairs := alikePairs(list)
	sort.Slice(pairs, func(i, j int) bool {
		if pairs[i].score != pairs[j].score {
			return pairs[i].score > pairs[j].score
		}
		if x, y := list[pairs[i].a].ID, list[pairs[j].a].ID; x != y {
			return x < y
		}
		return list[pairs[i].b].ID < list[pairs[j].b].ID
	})
	score := make(map[[2]int]float64, len(pairs))
	for _, p := range pairs {
		score[[2]int{p.a, p.b}], score[[2]int{p.b, p.a}] = p.score, p.score
	}
	groupOf := make([]int, len(list))
	members := make([][]int, len(list))
	for i := range list {
		groupOf[i], members[i] = i, []int{i}
	}
	for _, p := range pairs {
		g, h := groupOf[p.a], groupOf[p.b]
		if g == h || !allAlike(members[g], members[h], score) {
			continue
		}
		for _, m := range members[h] {
			groupOf[m] = g
		}
		members[g] = append(members[g], members[h]...)
		members[h] = nil
	}
	var groups []Group
	for _, m := range members {
		if len(m) < 2 {
			continue
		}
		sort.Ints(m)
		g := Group{Members: m, Likeness: 1}
		for i := range m {
			for _, k := range m[i+1:] {
				g.Likeness = min(g.Likeness, score[[2]int{m[i], k}])
			}
		}
		groups = append(groups, g)
	}
	sort.Slice(groups, func(i, j int) bool { return groups[i].Members[0] < groups[j].Members[0] })
	return groups
}

func allAlike(a, b []int, score map[[2]int]float64) bool {
	for _, i := range a {
		for _, j := range b {
			if _, ok := score[[2]int{i, j}]; !ok {
				return false
			}
		}
	}
	return true
}

// alikePairs scores every two questions that share a meaning; those that share
// none cannot reach the threshold, since letters alone give at most trigramShare.
// In each pair the question with the smaller ID comes first.
func alikePairs(list []Likely) []scored {
	byMeaning := map[string][]int{}
	for i, q := range list {
		for _, m := range q.Gist.meanings {
			byMeaning[m.name] = append(byMeaning[m.name], i)
		}
	}
	seen := make([]int, len(list)) // the last question i+1 that met this one
	var pairs []scored
	for i, q := range list {
		for _, m := range q.Gist.meanings {
			for _, k := range byMeaning[m.name] {
				if k >= i {
					break
				}
				if seen[k] == i+1 {
					continue
				}
				seen[k] = i + 1
				if s := q.Gist.Likeness(list[k].Gist); s >= LikenessThreshold {
					a, b := k, i
					if list[b].ID < list[a].ID {
						a, b = b, a
					}
					pairs = append(pairs, scored{a, b, s})
				}
			}
		}
	}
	return pairs
}

// Match is a question or an answer found alike, with its score.
type Match struct {
	// Index is the position in the list searched.
	Index    int
	Likeness float64
}

// MostAlike gives at most n of the list that are alike to a question by at
// least floor, the most alike first, ties by ID.
func MostAlike(g Gist, list []Likely, floor float64, n int) []Match {
	var out []Match
	for i, q := range list {
		if s := g.Likeness(q.Gist); s >= floor {
			out = append(out, Match{i, s})
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Likeness != out[j].Likeness {
			return out[i].Likeness > out[j].Likeness
		}
		return list[out[i].Index].ID < list[out[j].Index].ID
	})
	return out[:min(n, len(out))]
}
