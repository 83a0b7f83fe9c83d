// Package forecast says where a jar's acidity is going: an 80 % band over
// time, the dates between which it reaches a target or stops rising, and
// whether it stands still, falls, or cannot be judged yet.
//
// # The curve
//
// Acid in an open jar rises in three parts. While the film of bacteria closes
// over the surface, the rise grows by a steady share a day. Once it is closed,
// air sets the pace and the rise is nearly straight. When the alcohol runs out,
// the rate dies away with it. The curve here is a straight ramp with a rounded
// shoulder at either end, one exponential and one exponential approach, with
// six numbers: the acidity at start and at the end, the day of the foot, the
// steepest rate, and the sharpness of the two shoulders. A logistic or Gompertz
// curve has four, but ties the length of its foot to that of its shoulder and
// has no straight middle, which is most of what a kitchen sees. A mechanistic
// model of cells, alcohol and oxygen has a dozen numbers that no titration can
// tell apart; the tests use one to make jars to be judged by.
//
// The end lies under the recipe's ceiling in every curve, so no forecast can
// exceed it.
//
// # The inference
//
// Two titrations cannot fix six numbers, so what is known of such jars from
// print stands in for the rest (prior.go gives every figure with its source)
// and gives way as titrations come in: Bayes's rule. Where the end should lie is
// the caller's likely range, taken as a central 80 %, with a long tail to low
// ends. Titrations count by their own uncertainty and a Student t, so that one
// slip of the burette does not rule. An ensemble of walkers draws 400 equally
// likely curves, with a fixed seed: the same log gives the same forecast. Bands
// and dates are their 10, 50 and 90 % points. Sampling was preferred to a
// normal approximation at the best fit because dates are skew: with two
// titrations a jar may be late by weeks but early only by days.
//
// # What it does not know
//
// A film that sinks, a cold spell and a late top-up are not foreseen; leave out
// titrations from before liquid was added. A fall after the peak is reported and
// drawn on as a straight decline, with a wide guess of its rate, for want of
// published rates in open jars. How well bands and dates keep their promise is
// measured on simulated jars in the tests, not on real ones: no public series
// of kitchen jars was found. A forecast is not a measurement, and no rule about
// strength or safety may be read off it.
package forecast
