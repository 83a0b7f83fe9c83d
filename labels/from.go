package labels

import (
	"fmt"
	"strings"
	"time"

	"cruet/internal/larder"
)

// datesOnJar is how many coming steps a jar's label names.
const datesOnJar = 2

// ForJar is the label of a jar. address is the HOST:PORT that its code names,
// loc the kitchen's time zone. A jar that was not measured is
// taken to be as wide as jars of its size are.
func ForJar(jar larder.Jar, batch larder.Batch, address string, loc *time.Location) JarLabel {
	l := JarLabel{
		URL: jar.Tag.Link(address), Tag: string(jar.Tag), Batch: batch.Name, Jar: jar.Letter,
		Started: batch.When.DateIn(loc), DiameterMM: batch.JarOuterDiameterMM,
	}
	if l.DiameterMM == 0 {
		l.DiameterMM = JarDiameterMM(float64(jar.SizeML))
	}
	for _, next := range batch.NextDates(jar.State, loc, datesOnJar) {
		l.Next = append(l.Next, next.What+" "+next.Window(loc))
	}
	return l
}

// ForSpare is the label of a tag that no jar wears yet.
func ForSpare(tag larder.Tag, address string) SpareLabel {
	return SpareLabel{URL: tag.Link(address), Tag: string(tag)}
}

// fromLot is what a bottle's label says of its lot, before any rule set.
func fromLot(bottle larder.Bottle, lot larder.Lot, bottles int, kitchen larder.Kitchen, address string) BottleLabel {
	loc := kitchen.Location()
	maker := kitchen.MakerLine
	if maker == "" {
		maker = kitchen.Name
	}
	return BottleLabel{
		URL: bottle.Tag.Link(address), Tag: string(bottle.Tag), Name: lot.Name,
		Acidity: lot.Acidity.LabelText(), AcidityNote: lot.Acidity.LabelNote(loc),
		Bottled: lot.When.DateIn(loc), Net: NetText(float64(bottle.SizeML)),
		Ingredients: strings.Join(lot.Ingredients, ", "), Lot: lot.ID,
		Number: fmt.Sprintf("bottle %d of %d", bottle.Number, bottles), Maker: maker,
	}
}

// ForShelf is a jar's label on a shelf sheet, which hangs flat.
func ForShelf(jar larder.Jar, batch larder.Batch, address string, loc *time.Location) JarLabel {
	l := ForJar(jar, batch, address, loc)
	l.DiameterMM = 0
	return l
}

// ShelfTitle heads a shelf sheet.
func ShelfTitle(kitchen, place string) string {
	if place = strings.TrimSpace(place); place != "" {
		return kitchen + ", " + place
	}
	return kitchen
}
