// Package verdict says what a jar of home-made vinegar may be used for, by the
// evidence in its log and by published rules. It is written to be read by a
// food-safety reviewer, in this order:
//
//   - rules.go: every rule in one table, with its limit, its source, and
//     whether that source was read or is recalled from memory;
//   - cautions.go: every caution that is shown, likewise;
//   - judge.go: how evidence is held against the rules;
//   - evidence.go: what counts as evidence, and what does not.
//
// The answers are supported (by the log and published rules; nobody here can give
// a permission), not proven and no. What
// holds throughout, and is held by tests:
//
//   - Strength is the lower end of the 95 % interval of the newest titration,
//     never its middle. A computed, outdated, marked or old value proves no
//     strength; pH never does.
//   - Canning and shelf-stable pickling are never supported, whatever was
//     measured: the published advice is bought vinegar of at least 5 %.
//   - Selling is never supported, because no log can show a licence; the most it
//     gets is "not proven", with what the evidence does show.
//   - A mould sighting is a no for every use, a hold a no for every food use.
//   - Where sources disagree, the stricter is used and the disagreement told.
//
// Nothing here is legal advice. Local rules and licensed practice come first.
package verdict
