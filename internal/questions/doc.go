// Package questions holds the rules of the question queue: what a question's
// text may be, which questions cannot wait, which ask the same thing, in what
// order a live session takes them, and what may happen to a question in its life.
//
// It is pure: no database, no wire, no clock. What it needs to know of the
// trade lies beside it as data, each row with its source:
//
//   - triage.yaml: the words that raise a question, rule by rule
//   - facts.csv: the published figures and statements that a rule passes on
//   - vocabulary.yaml: words that mean the same, for likeness
//   - wants.yaml: what questions ask for that can be worked out
//
// The rules read English. A question in another language is kept, shown and
// ordered like any other, but nothing raises it.
package questions
