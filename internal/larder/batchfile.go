package larder

import "github.com/google/uuid"

// BatchFile is all that a kitchen knows of a batch.
type BatchFile struct {
	Batch Batch
	Jars  []JarFile
	Bench []BenchEntry // calibrations and checks of the base that its measurements rest on
	Lots  []LotFile    // that it went into
}

// JarFile is one jar with its whole log, in the order of recording.
type JarFile struct {
	Jar                Jar
	Log                []Entry
	CameFrom, WentInto []Edge
}

// LotFile is a lot with its bottles and their gifts, its own log, and the gifts
// that were taken back.
type LotFile struct {
	Lot     Lot
	Bottles []Bottle
	Log     []LotHold
	Taken   []Bottle // each with the gift that was taken back
}

// RestsOn are the bench entries that a measurement rests on.
func RestsOn(b Body) []uuid.UUID {
	id := uuid.Nil
	switch b := b.(type) {
	case Reading:
		id = b.CalibrationID
	case Titration:
		id = b.BaseID
	}
	if id == uuid.Nil {
		return nil
	}
	return []uuid.UUID{id}
}
