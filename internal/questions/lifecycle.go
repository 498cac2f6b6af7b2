package questions

import (
	"fmt"

	"stillroom/internal/fault"
)

// State is where a question is in its life.
//
//	          ┌────────── skip, undo ───────────┐
//	          ▼                                 │
//	ask ──► asked ──────────── take ────────► taken
//	        │ ▲ │ ▲                            │ │
//	        │ │ │ └─────── undo ───────┐       │ │
//	        │ │ └── park ──► parked ◄──┼─ park ┘ │
//	        │ │               │ │ │ └──┘         │
//	        │ │               │ │ └─ take ──► taken
//	        │ │             answer             answer
//	        │ │               ▼                  ▼
//	        │ └─── undo ── answered ◄──────── answered
//	        │                 ▲
//	        ├──── answer ─────┘      (in writing, without a session)
//	        ├──── merge ──► merged ─── split ──► asked      (also from parked)
//	        └──── withdraw ──► withdrawn, for good          (also from parked)
//
// What was asked is never lost: a merged question keeps its words and its
// askers, and an answer to the one it was merged into is an answer to it.
type State int

const (
	// Asked questions wait in the queue.
	Asked State = iota
	// Taken questions are being answered by one host.
	Taken
	// Parked questions are set aside: somebody will look something up.
	Parked
	// Answered questions have an answer, spoken or written.
	Answered
	// Merged questions are asked by another one.
	Merged
	// Withdrawn questions were taken back by their asker.
	Withdrawn
)

// States lists every state in order.
var States = []State{Asked, Taken, Parked, Answered, Merged, Withdrawn}

// String gives the word used in the contract, the tables and the pages.
func (s State) String() string {
	if s < Asked || s > Withdrawn {
		return fmt.Sprintf("State(%d)", int(s))
	}
	return [...]string{"asked", "taken", "parked", "answered", "merged", "withdrawn"}[s]
}

// ParseState reads the word of a state.
func ParseState(word string) (State, error) {
	for _, s := range States {
		if s.String() == word {
			return s, nil
		}
	}
	return 0, fault.Field("state", word, "is not a state of a question", "use asked, taken, parked, answered, merged or withdrawn")
}

// Open reports whether the question still wants an answer.
func (s State) Open() bool { return s == Asked || s == Taken || s == Parked }

// Step is something that happens to a question.
type Step int

const (
	// Take: a host of a live session starts to answer it.
	Take Step = iota
	// Answer: it was answered.
	Answer
	// Park: it is set aside for later.
	Park
	// Skip: the host goes on without it; it goes back behind the others.
	Skip
	// Undo: the last of take, park or answer was a mistake; it goes back to the queue.
	Undo
	// Merge: another question asks the same.
	Merge
	// Split: it asks something else after all.
	Split
	// Withdraw: its asker takes it back.
	Withdraw
	// Edit: its asker changes the words.
	Edit
	// Endorse: somebody else has the same question, or takes that back.
	Endorse
)

// Steps lists every step in order.
var Steps = []Step{Take, Answer, Park, Skip, Undo, Merge, Split, Withdraw, Edit, Endorse}

// String gives the verb.
func (s Step) String() string {
	if s < Take || s > Endorse {
		return fmt.Sprintf("Step(%d)", int(s))
	}
	return [...]string{"take", "answer", "park", "skip", "undo", "merge", "split", "withdraw", "edit", "endorse"}[s]
}

var transitions = map[State]map[Step]State{
	Asked:    {Take: Taken, Answer: Answered, Park: Parked, Merge: Merged, Withdraw: Withdrawn, Edit: Asked, Endorse: Asked},
	Taken:    {Answer: Answered, Park: Parked, Skip: Asked, Undo: Asked, Endorse: Taken},
	Parked:   {Take: Taken, Answer: Answered, Undo: Asked, Merge: Merged, Withdraw: Withdrawn, Edit: Parked, Endorse: Parked},
	Answered: {Undo: Asked},
	Merged:   {Split: Asked},
}

// wayOut says what to do about a question in a state that allows no such step.
var wayOut = map[State]string{
	Asked:     "take it first",
	Taken:     "a host is answering it: wait for the answer, or ask the host to skip it",
	Parked:    "put it back into the queue first",
	Answered:  "put it back into the queue first if the answer does not hold",
	Merged:    "use the question it was merged into, or split it off first",
	Withdrawn: "ask it again as a new question",
}

// After is the state after a step. A step that the state does not allow is a
// fault of kind Precondition that says which steps are open.
func (s State) After(step Step) (State, error) {
	if next, ok := transitions[s][step]; ok {
		return next, nil
	}
	return s, fault.New(fault.Precondition, "the question is %s and cannot %s; %s", s, cannot[step], wayOut[s])
}

// cannot completes "the question is answered and cannot …".
var cannot = map[Step]string{
	Take: "be taken", Answer: "be answered", Park: "be parked", Skip: "be skipped", Undo: "be put back",
	Merge: "be merged", Split: "be split off", Withdraw: "be withdrawn", Edit: "be edited", Endorse: "be endorsed",
}

// CheckMerge says whether one question may be merged into another, which must
// be open or answered. Merging keeps the tree flat: whatever was merged into
// from goes along into into, so no circle can arise. Faults: Invalid for a
// question merged into itself, Precondition for states that do not allow it.
func CheckMerge(from, into string, fromState, intoState State, intoMergedInto string) error {
	if from == into {
		return fault.Field("into", into, "is the question itself", "name another question that asks the same")
	}
	if _, err := fromState.After(Merge); err != nil {
		return err
	}
	switch intoState {
	case Merged:
		if intoMergedInto == from {
			return fault.New(fault.Precondition, "%s is merged into this question already; split it off first, or merge others into this one", into)
		}
		return fault.New(fault.Precondition, "%s is itself merged; merge into %s", into, intoMergedInto)
	case Withdrawn:
		return fault.New(fault.Precondition, "%s was withdrawn; merge into a question that is still asked", into)
	}
	return nil
}
