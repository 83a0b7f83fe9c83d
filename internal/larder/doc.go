// Package larder holds the nouns of a vinegar kitchen and the rules between
// them. It knows neither HTTP nor SQL nor PDF, so that a rule can be read and
// tested on one page. The words are the trade's:
//
//   - batch: what was started together, from one recipe.
//   - jar: one filling of one vessel; it carries the label. A batch has one or more.
//   - tag: the short code on a label, with a check character. A jar's tag names
//     a filling, not a glass: emptying the jar retires it, and it is never reused.
//   - log, entry: the jar's history, and one line of it. Entries are only ever
//     added: a wrong one is struck by a later one and both stay readable.
//   - reading: an entry of measurements (pH, temperature, gravity, Brix, volume).
//   - titration: the measurement that tells how sour the vinegar is.
//   - stage: must, alcoholic, acetic, maturing, finished, empty, discarded.
//   - starter: live vinegar, or a mother, put into a jar.
//   - edge: which jar or bought vinegar gave starter or liquid to which.
//   - lot: one bottling run; bottle: one numbered bottle of it; gift: to whom it went.
//   - hold: a stop on a jar; nothing of it may be bottled or given until it is lifted.
//   - spare tag: a printed tag that no jar wears yet.
//
// Quantities are SI inside (mL, g, °C, g/100 mL, UTC instants) and say so in
// their names; the kitchen's units and time zone belong to the edges.
package larder
