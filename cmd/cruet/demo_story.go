package main

import (
	"context"
	"fmt"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// The stories of the invented kitchen. The figures are made up to be plausible;
// none was measured.

// bench: the meter is calibrated before it is used, the base checked every month
// or so.
func (t *teller) bench() {
	t.calibrate(138, "17:35", 19.5, 1.66, 4.02)
	t.calibrate(122, "11:00", 20, 1.70, 4.03)
	t.calibrate(62, "09:50", 19, 1.71, 4.05)
	t.calibrate(38, "17:40", 19, 1.67, 4.00)
	t.calibrate(32, "18:05", 21, 1.69, 4.03)
	t.calibrate(11, "11:10", 21, 1.70, 4.03)
	t.checkBase(132, "10:00", chem.KHPRun{KHPG: 0.190, BaseML: 9.31}, chem.KHPRun{KHPG: 0.189, BaseML: 9.25})
	t.checkBase(106, "10:30", chem.KHPRun{KHPG: 0.191, BaseML: 9.35}, chem.KHPRun{KHPG: 0.190, BaseML: 9.30})
	t.checkBase(66, "16:00", chem.KHPRun{KHPG: 0.188, BaseML: 9.21}, chem.KHPRun{KHPG: 0.190, BaseML: 9.30})
	t.checkBase(37, "09:45", chem.KHPRun{KHPG: 0.190, BaseML: 9.30}, chem.KHPRun{KHPG: 0.191, BaseML: 9.36}, chem.KHPRun{KHPG: 0.189, BaseML: 9.25})
	for _, c := range []struct {
		daysAgo int
		ph      chem.PH
		temp    chem.Celsius
	}{{138, 2.41, 19.5}, {122, 2.42, 20}, {101, 2.40, 20.5}, {80, 2.41, 20}, {62, 2.43, 19}, {38, 2.42, 19}, {32, 2.41, 21}, {26, 2.40, 20.5},
		{18, 2.42, 20.5}, {11, 2.41, 21}, {4, 2.42, 20}} {
		t.control(c.daysAgo, "09:58", c.ph, c.temp)
	}
	t.checkBase(17, "10:15", chem.KHPRun{KHPG: 0.192, BaseML: 9.41}, chem.KHPRun{KHPG: 0.190, BaseML: 9.30})
}

// barley: ale to vinegar in 100 days, finished at 5.4, diluted to 5.0, bottled,
// and four bottles given away.
func (t *teller) barley() {
	const jar = "barley A"
	t.start(150, "10:20", "mk", "barley", larder.NewBatch{
		Name: "Barley", Base: larder.Ale, Jars: 1, JarSizeML: 6000, FillML: volume(5000), TargetGPer100ML: 5, Place: "shelf by the boiler",
		Ingredients: []larder.Ingredient{ingredient("unhopped ale (water, barley malt, yeast)", "5 L")},
	})
	t.log(150, "10:30", "mk", jar, "", just(larder.Reading{ABV: new(chem.PercentVol(6)), Instrument: ebulliometer}))
	t.log(148, "17:05", "mk", jar, "", just(larder.StageChange{To: larder.Acetic, VolumeML: volume(5000),
		Starter: &larder.Feed{From: larder.FromBought, Name: "live malt vinegar", Live: true, Mother: true, Acidity: new(chem.GramsPer100ML(5)), VolumeML: volume(500)}}))
	t.log(138, "18:00", "ro", jar, "thin skin on top, clean sour smell", ph(3.72, 19.5))
	t.log(122, "11:15", "ro", jar, "", titrated(run2(0, 4.65, 4.65, 9.25)...))
	t.log(122, "11:25", "ro", jar, "", ph(3.31, 20))
	t.log(101, "16:40", "ro", jar, "", titrated(run2(0, 6.70, 0.10, 6.85)...))
	t.log(80, "15:10", "mk", jar, "", titrated(run2(0, 8.35, 0, 8.40)...))
	t.log(62, "10:05", "ro", jar, "hardly moves now", titrated(run2(0, 8.90, 0.05, 8.95)...))
	t.log(62, "10:20", "ro", jar, "", ph(2.88, 19))
	t.log(60, "09:30", "ro", jar, "", just(larder.StageChange{To: larder.Maturing, VolumeML: volume(5200)}))
	t.log(31, "11:00", "ro", jar, "", titrated(chem.Replicate{StartML: 0, EndML: 8.98}, chem.Replicate{StartML: 0.02, EndML: 9.02}, chem.Replicate{StartML: 0.04, EndML: 9.04}))
	t.log(30, "10:10", "ro", jar, "clear, no ale smell left", just(larder.StageChange{To: larder.Finished, VolumeML: volume(4600)}))
	t.log(29, "14:00", "mk", jar, "4.6 L at 5.40 to 5.0: 368 mL of boiled, cooled water", just(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: volume(368)}}))
	t.log(28, "10:45", "ro", jar, "", titrated(chem.Replicate{StartML: 0, EndML: 8.34}, chem.Replicate{StartML: 0.06, EndML: 8.40}, chem.Replicate{StartML: 0.02, EndML: 8.38}))
	t.on(28, "15:30", "ro", func(ctx context.Context, a larder.Act) error {
		l, err := t.db.Bottle(ctx, a, larder.NewLot{Name: "Barley vinegar", Pours: []larder.Pour{{Jar: t.jars[jar]}}, Runs: []larder.Run{{Count: 12, SizeML: 250}}})
		t.lots["barley"] = l.Lot.ID
		return err
	})
	t.gift(24, "18:15", "ro", 1, "the neighbours at no. 4")
	t.gift(20, "20:00", "mk", 2, "choir supper")
	t.gift(13, "12:30", "ro", 3, "ana")
	t.gift(6, "10:00", "mk", 4, "the seed swap")
}

func (t *teller) gift(daysAgo int, clock, by string, number int, to string) {
	t.on(daysAgo, clock, by, func(ctx context.Context, a larder.Act) error {
		l, err := t.db.Lot(ctx, t.lots["barley"])
		if err != nil {
			return err
		}
		for _, b := range l.Bottles {
			if b.Number == number {
				_, err := t.db.Give(ctx, a, b.Tag, larder.NewGift{To: to})
				return err
			}
		}
		return fmt.Errorf("lot %s has no bottle %d", l.Lot.ID, number)
	})
}

// honey: stuck, its gravity unchanged for three weeks, and on hold after mould.
func (t *teller) honey() {
	const jar = "honey A"
	t.start(75, "11:00", "ro", "honey", larder.NewBatch{
		Name: "Honey", Base: larder.Honey, Jars: 1, JarSizeML: 5000, FillML: volume(4600), TargetGPer100ML: 5, Place: "pantry, top shelf",
		Ingredients: []larder.Ingredient{ingredient("honey", "900 g"), ingredient("water", "4 L")},
	})
	t.log(75, "11:20", "ro", jar, "", gravity(1.058, 21))
	t.log(71, "08:40", "ro", jar, "bubbles at last", just(larder.StageChange{To: larder.Alcoholic}))
	t.log(60, "19:00", "mk", jar, "", gravity(1.046, 18))
	t.log(45, "18:30", "mk", jar, "", gravity(1.034, 17))
	t.log(33, "18:45", "mk", jar, "", gravity(1.027, 15.5))
	t.log(24, "18:20", "mk", jar, "cold in here this week", gravity(1.024, 14))
	t.log(17, "18:10", "ro", jar, "", gravity(1.024, 14))
	t.log(10, "18:50", "mk", jar, "no bubbles; moved nearer the stove tomorrow", gravity(1.024, 14.5))
	t.log(3, "09:05", "ro", jar, "", gravity(1.024, 16))
	t.log(3, "09:10", "ro", jar, "two grey-green furry spots by the glass", just(larder.Action{What: larder.MouldSeen}))
	t.log(3, "09:12", "ro", jar, "", just(larder.Hold{On: true, Reason: "mould on the surface"}))
}

// pear: two jars of trimmings, whose recipe cannot reach 5 %.
func (t *teller) pear() {
	t.start(61, "14:30", "mk", "pear", larder.NewBatch{
		Name: "Pear trimmings", Base: larder.FruitScraps, Jars: 2, JarSizeML: 3000, FillML: volume(2700), TargetGPer100ML: 5, Place: "kitchen counter",
		Note:        "Peels and cores of 2.4 kg pears; then filled up with water to cover them.",
		Ingredients: []larder.Ingredient{ingredient("pear peels and cores", "600 g"), ingredient("water", "4 L"), ingredient("sugar", "340 g")},
	})
	t.pearJar("pear A", 2, run2(0, 2.35, 2.35, 4.75), run2(0, 4.05, 4.05, 8.05), run2(0, 5.10, 0, 5.15))
	t.pearJar("pear B", 22, run2(0, 2.10, 2.10, 4.20), run2(0, 3.60, 3.60, 7.25), run2(0, 4.70, 4.70, 9.35))
}

// pearJar is one of the two, minute minutes past the hour: six readings.
func (t *teller) pearJar(jar string, minute int, early, middle, late []chem.Replicate) {
	at := func(hour int) string { return fmt.Sprintf("%02d:%02d", hour, minute) }
	t.stir(jar, 60, 59, 58, 57, 56, 55, 54, 53, 52, 51, 50, 49)
	t.log(57, at(9), "mk", jar, "fizzing", just(larder.StageChange{To: larder.Alcoholic}))
	t.log(57, at(10), "mk", jar, "", gravity(1.021, 20))
	t.log(48, at(9), "mk", jar, "", gravity(1.002, 20))
	t.log(48, at(10), "mk", jar, "", just(larder.StageChange{To: larder.Acetic, VolumeML: volume(2300),
		Starter: &larder.Feed{From: larder.FromBought, Name: "live cider vinegar", Live: true, Mother: true, Acidity: new(chem.GramsPer100ML(5)), VolumeML: volume(200)}}))
	t.log(38, at(18), "ro", jar, "a skin is forming", ph(3.62, 19))
	t.log(26, at(11), "ro", jar, "", titrated(early...))
	t.log(14, at(11), "ro", jar, "", titrated(middle...))
	t.log(4, at(11), "ro", jar, "", titrated(late...))
}

// damson: home-made wine cut with water, on the mother from the barley jar.
func (t *teller) damson() {
	const jar = "damson A"
	t.start(40, "16:00", "ro", "damson", larder.NewBatch{
		Name: "Damson wine", Base: larder.Wine, Jars: 1, JarSizeML: 6000, FillML: volume(5000), TargetGPer100ML: 5, Place: "shelf by the boiler",
		Note:        "Wine of 11.5 % vol cut with water to 6.9 % vol, so that the bacteria can work.",
		Ingredients: []larder.Ingredient{drink("home-made damson wine", "3 L", 11.5), ingredient("water", "2 L")},
	})
	t.log(40, "16:10", "ro", jar, "as the cut should give", just(larder.Reading{ABV: new(chem.PercentVol(6.9)), Instrument: ebulliometer}))
	t.on(39, "10:00", "ro", func(ctx context.Context, a larder.Act) error {
		_, err := t.db.Append(ctx, a, t.jars[jar], larder.NewEntry{Body: larder.StageChange{To: larder.Acetic, VolumeML: volume(5000),
			Starter: &larder.Feed{From: larder.FromJar, Jar: t.jars["barley A"], Mother: true, VolumeML: volume(400)}}})
		return err
	})
	t.log(32, "18:30", "mk", jar, "skin over half the surface", ph(3.45, 21))
	t.log(25, "11:30", "ro", jar, "", titrated(run2(0, 2.70, 2.70, 5.45)...))
	t.log(18, "11:30", "ro", jar, "", titrated(run2(0, 4.15, 4.15, 8.35)...))
	t.log(11, "11:30", "ro", jar, "", titrated(run2(0, 5.60, 0, 5.55)...))
	t.log(11, "11:45", "ro", jar, "", ph(3.02, 21.5))
	t.log(4, "11:30", "ro", jar, "", titrated(run2(0, 6.85, 0.05, 6.95)...))
}

// rosemary: finished pear vinegar on rosemary, for cleaning.
func (t *teller) rosemary() {
	const jar = "rosemary A"
	t.start(12, "17:40", "mk", "rosemary", larder.NewBatch{
		Name: "Pear and rosemary infusion", Base: larder.OtherBase, Stage: larder.Maturing, Jars: 1, JarSizeML: 2000, FillML: volume(1500),
		TargetGPer100ML: 4, Place: "window sill", Note: "For cleaning, not for food.",
		Ingredients: []larder.Ingredient{ingredient("finished pear vinegar of last year", "1.5 L"), ingredient("rosemary", "40 g")},
	})
	t.log(5, "17:55", "mk", jar, "smells of rosemary; two more weeks", just(larder.Action{What: larder.Tasted}))
}

// quince: pressed juice, nine days old and due for straining.
func (t *teller) quince() {
	t.start(9, "15:15", "ro", "quince", larder.NewBatch{
		Name: "Quince juice", Base: larder.Juice, Jars: 2, JarSizeML: 3500, FillML: volume(3000), TargetGPer100ML: 5, Place: "kitchen counter",
		Ingredients: []larder.Ingredient{ingredient("quince juice, pressed", "6 L")},
	})
	for i, jar := range []string{"quince A", "quince B"} {
		at := func(hour int) string { return fmt.Sprintf("%02d:%02d", hour, 20+5*i) }
		t.log(9, at(15), "ro", jar, "", just(larder.Reading{Brix: new(chem.DegreesBrix(12.5)), Instrument: "refractometer"}))
		t.log(7, at(8), "mk", jar, "first bubbles", just(larder.StageChange{To: larder.Alcoholic}))
		t.log(5, at(18), "mk", jar, "", gravity(1.031, 19))
		t.log(1, at(18), "ro", jar, "foam is gone", gravity(1.008, 18.5))
	}
}
