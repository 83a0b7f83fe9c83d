package store

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// valueKind says how a column's values are written.
type valueKind int

const (
	asText valueKind = iota
	asWhole
	asNumber
	asUUID // 16 bytes; may be missing where the column may be null
	asHex
	asJSON
	asTime // milliseconds since 1970, written as RFC 3339 in UTC
	asYes  // 0 or 1
)

// exportColumn is a column of an export: its name there, in the database, and what
// it means.
type exportColumn struct {
	name, column string
	kind         valueKind
	null         bool
	means        string
}

// exportTable is a kind of record. What can be derived from others is left out and
// made afresh by an import.
type exportTable struct {
	name, means, order string
	columns            []exportColumn
}

var (
	actColumn       = exportColumn{"act", "act", asUUID, false, "key of the act that wrote it"}
	happenedColumn  = exportColumn{"happened", "happened_ms", asTime, false, "when it happened; noon of the day where only the day is known"}
	precisionColumn = exportColumn{"precision", "precision", asText, false, "how much of that is meant: exact, day or about"}
	spreadColumn    = exportColumn{"spread_days", "spread_days", asWhole, false, "days either side, where it is about"}
	recordedColumn  = exportColumn{"recorded", "recorded_ms", asTime, false, "when it was written down"}
	byColumn        = exportColumn{"by", "by", asText, false, "who wrote it"}
	noteColumn      = exportColumn{"note", "note", asText, false, "a note"}
)

// exportTables are all records, each after those that it refers to.
var exportTables = []exportTable{
	{"setting", "what the maker set", "name", []exportColumn{
		{"name", "name", asText, false, "which setting"}, {"value", "value", asJSON, false, "what it is set to"}}},
	{"act", "each thing that was done, once", "key", []exportColumn{
		{"key", "key", asUUID, false, "the act's key"}, {"kind", "kind", asText, false, "what was done"},
		{"fingerprint", "fingerprint", asHex, false, "of what was sent, so that the same act sent again is known"},
		{"ref", "ref", asText, false, "what it made"}, byColumn, recordedColumn}},
	{"tag", "every tag that was ever given out", "tag", []exportColumn{
		{"tag", "tag", asText, false, "the tag"}, {"kind", "kind", asText, false, "jar, bottle or spare"}, {"issued", "issued_ms", asTime, false, "when it was given out"}}},
	{"batch", "what was started together", "id", []exportColumn{
		{"id", "id", asWhole, false, "its number"}, {"name", "name", asText, false, "its name"}, {"base", "base", asText, false, "what it is made from"},
		{"ingredients", "ingredients", asJSON, false, "the recipe, with suppliers"}, happenedColumn, precisionColumn, spreadColumn,
		{"target_g_per_100ml", "target_g_per_100ml", asNumber, false, "the acidity aimed at, g acetic acid in 100 mL"},
		{"jar_outer_diameter_mm", "jar_outer_diameter_mm", asNumber, false, "across the jar, mm; 0: not known"}, noteColumn, byColumn, recordedColumn}},
	{"jar", "one filling of one vessel", "tag", []exportColumn{
		{"tag", "tag", asText, false, "its tag"}, {"batch_id", "batch_id", asWhole, false, "number of its batch"}, {"letter", "letter", asText, false, "which jar of the batch"},
		{"size_ml", "size_ml", asNumber, false, "what the vessel holds, mL"}, {"place", "place", asText, false, "where it stood at its start"}}},
	{"entry", "the jars' logs, in the order of recording", "seq", []exportColumn{
		{"seq", "seq", asWhole, false, "the order of recording"}, {"id", "id", asUUID, false, "the entry's id"}, actColumn, {"jar", "jar", asText, false, "tag of the jar"},
		happenedColumn, precisionColumn, spreadColumn, recordedColumn, byColumn, noteColumn, {"kind", "kind", asText, false, "reading, titration, stage, action, transfer, hold, note, strike and so on"},
		{"body", "body", asJSON, false, "what the entry holds, with units in its names"}, {"struck_by", "struck_by", asUUID, true, "id of the entry that struck this one; empty while it stands"}}},
	{"lot", "bottling runs", "id", []exportColumn{
		{"id", "id", asText, false, "the lot mark"}, actColumn, {"name", "name", asText, false, "name of the food"}, {"happened", "happened_ms", asTime, false, "when it was bottled"},
		{"void", "void", asYes, false, "yes when the bottling was struck"}, {"body", "body", asJSON, false, "from which jars, acidity, ingredients"}}},
	{"bottle", "numbered bottles", "tag", []exportColumn{
		{"tag", "tag", asText, false, "its tag"}, {"lot", "lot", asText, false, "its lot"}, {"number", "number", asWhole, false, "its number in the lot"}, {"size_ml", "size_ml", asNumber, false, "what it holds, mL"}}},
	{"gift", "who got which bottle", "seq", []exportColumn{
		{"seq", "seq", asWhole, false, "the order of recording"}, {"bottle", "bottle", asText, false, "the bottle's tag"}, {"lot", "lot", asText, false, "its lot"}, actColumn,
		{"to_whom", "to_whom", asText, false, "who got it"}, happenedColumn, precisionColumn, spreadColumn, noteColumn, byColumn, recordedColumn,
		{"back_act", "back_act", asUUID, true, "key of the act that took it back; empty while it stands"}, {"back_reason", "back_reason", asText, false, "why it was taken back"},
		{"back_by", "back_by", asText, false, "who took it back"}, {"back", "back_ms", asTime, false, "when; 1970 while it stands"}}},
	{"lot_log", "holds put on lots and lifted", "seq", []exportColumn{
		{"seq", "seq", asWhole, false, "the order of recording"}, actColumn, {"lot", "lot", asText, false, "the lot"}, {"on", "on", asYes, false, "yes: put on hold; no: lifted"},
		{"reason", "reason", asText, false, "why"}, happenedColumn, precisionColumn, spreadColumn, noteColumn, byColumn, recordedColumn}},
	{"bench", "calibrations, checks of the base, control samples", "seq", []exportColumn{
		{"seq", "seq", asWhole, false, "the order of recording"}, {"id", "id", asUUID, false, "its id"}, {"kind", "kind", asText, false, "calibration, base or control"}, {"name", "name", asText, false, "of the meter or the base"},
		happenedColumn, precisionColumn, spreadColumn, recordedColumn, byColumn, noteColumn, {"body", "body", asJSON, false, "what was measured"},
		{"struck_by", "struck_by", asUUID, true, "key of the act that struck it; empty while it stands"}}},
	{"print", "labels that were made", "seq", []exportColumn{
		{"seq", "seq", asWhole, false, "the order of making"}, {"tag", "tag", asText, false, "whose label"}, {"address", "address", asText, false, "HOST:PORT in its code"}, {"stock", "stock", asText, false, "the paper"},
		{"layout", "layout", asText, false, "the layout"}, {"printed", "printed_ms", asTime, false, "when"}, byColumn}},
	{"plan", "what the maker changed of the plans", "kind, step", []exportColumn{
		{"kind", "kind", asText, false, "kind of batch"}, {"step", "step", asText, false, "what is asked for"}, {"first_day", "first_day", asWhole, false, "from which day"}, {"last_day", "last_day", asWhole, false, "until which day"},
		{"every_days", "every_days", asWhole, false, "how often, in days"}, {"off", "off", asYes, false, "yes when it is not asked for"}}},
	{"round", "measuring rounds", "id", []exportColumn{
		{"id", "id", asUUID, false, "its id"}, {"started", "started_ms", asTime, false, "when it began"}, {"ended", "ended_ms", asTime, false, "when it ended; 1970 while it goes on"}, byColumn}},
	{"round_jar", "the jars of a round", "round, place", []exportColumn{
		{"round", "round", asUUID, false, "id of the round"}, {"place", "place", asWhole, false, "its place in the round"}, {"jar", "jar", asText, false, "the jar"},
		{"act", "act", asUUID, true, "key of the act that measured it; empty when none did"}, {"skipped", "skipped", asYes, false, "yes when it was passed over"}}},
}

// derivedTables are made afresh from the others; derivedColumns likewise.
var (
	derivedTables  = []string{"edge", "flow", "recipe", "photo"}
	derivedColumns = map[string][]string{"jar": {"live", "state", "hold", "listed"}, "lot": {"hold"}}
)

// guardTables and guardSettings say who may write. They are the station's own: an
// export is for other eyes, and an import must not open a kitchen to others.
var (
	guardTables   = []string{"phone", "pairing"}
	guardSettings = []string{"access", "passphrase"}
)

// from names the records of the table that an export has, for SQL.
func (t exportTable) from() string {
	if t.name == "setting" {
		return t.name + ` WHERE name NOT IN (` + guardList + `)`
	}
	return t.name
}

var guardList = `'` + strings.Join(guardSettings, `', '`) + `'`

const exportTime = "2006-01-02T15:04:05.000Z"

// text writes a value of the database for an export.
func (c exportColumn) text(v any) (string, error) {
	if v == nil {
		if c.null {
			return "", nil
		}
		return "", fmt.Errorf("%s is missing", c.name)
	}
	switch c.kind {
	case asUUID:
		b, _ := v.([]byte)
		id, err := uuid.FromBytes(b)
		return id.String(), err
	case asHex:
		b, _ := v.([]byte)
		return hex.EncodeToString(b), nil
	case asTime:
		ms, _ := v.(int64)
		return time.UnixMilli(ms).UTC().Format(exportTime), nil
	case asYes:
		return map[bool]string{true: "yes", false: "no"}[v == int64(1)], nil
	case asWhole:
		n, _ := v.(int64)
		return strconv.FormatInt(n, 10), nil
	case asNumber:
		f, _ := v.(float64)
		return strconv.FormatFloat(f, 'g', -1, 64), nil
	}
	switch s := v.(type) {
	case string:
		return s, nil
	case []byte:
		return string(s), nil
	}
	return "", fmt.Errorf("%s is no text", c.name)
}

// value reads what text wrote.
func (c exportColumn) value(text string) (any, error) {
	wrong := func(want string) error {
		return fmt.Errorf("%s: %q is not %s", c.name, shortened(text), want)
	}
	if text == "" && c.null {
		return nil, nil
	}
	switch c.kind {
	case asUUID:
		id, err := uuid.Parse(text)
		if err != nil || len(text) != 36 {
			return nil, wrong("a UUID")
		}
		return id[:], nil
	case asHex:
		b, err := hex.DecodeString(text)
		if err != nil {
			return nil, wrong("hexadecimal")
		}
		return b, nil
	case asTime:
		t, err := time.Parse(exportTime, text)
		if err != nil {
			return nil, wrong("a time like 2026-11-25T10:30:00.000Z")
		}
		return t.UnixMilli(), nil
	case asYes:
		switch text {
		case "yes":
			return int64(1), nil
		case "no":
			return int64(0), nil
		}
		return nil, wrong("yes or no")
	case asWhole:
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return nil, wrong("a whole number")
		}
		return n, nil
	case asNumber:
		f, err := strconv.ParseFloat(text, 64)
		if err != nil || f != f || f > 1e15 || f < -1e15 {
			return nil, wrong("a number")
		}
		return f, nil
	case asJSON:
		if !json.Valid([]byte(text)) {
			return nil, wrong("JSON")
		}
	}
	if strings.ContainsRune(text, 0) {
		return nil, errors.New(c.name + " holds a zero byte")
	}
	return text, nil
}

func shortened(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}
