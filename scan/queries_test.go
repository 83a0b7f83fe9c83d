package scan

import (
	"database/sql"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"cruet/internal/store"
)

// wholes are the few questions that read all of a table by their nature, each by a
// piece of its text.
var wholes = map[string]string{
	"LIKE '%' ||": "a search for a part of a name, when none is so called",
}

// wholeTable finds a table that a plan reads whole: "SCAN entry", "SCAN e USING INDEX".
var wholeTable = regexp.MustCompile(`^SCAN (\w+)`)

// Every query that a page or an act asks, in a kitchen in which everything was
// done once, searches by an index: no page becomes slower as the years go by. The
// texts are those that the store really ran.
func TestQueriesUseIndexes(t *testing.T) {
	s := stocked(t)
	for name, path := range looks(s) {
		if page := s.get(path); page.Code >= 500 {
			t.Errorf("%s: %d", name, page.Code)
		}
	}
	for _, path := range []string{"/calendar.ics", "/trace.csv?kind=jar&of=" + string(s.jars["Barley/A"]), "/batches/1/record.pdf", "/labels/jars.pdf"} {
		s.get(path)
	}
	asked, met := 0, map[string]bool{}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(s.db.Dir(), store.FileName)+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	s.asked.Range(func(key, _ any) bool {
		query := key.(string)
		if plain := strings.TrimSpace(query); !regexp.MustCompile(`^(SELECT|WITH|UPDATE|DELETE|INSERT)\b`).MatchString(plain) {
			return true
		}
		asked++
		for piece := range wholes {
			if strings.Contains(query, piece) {
				met[piece] = true
				return true
			}
		}
		lines, err := queryPlan(db, query)
		if err != nil {
			t.Errorf("%s: %v", query, err)
			return true
		}
		for _, line := range lines {
			if strings.Contains(line, "AUTOMATIC") || reads(line, query) {
				t.Errorf("%s\n\treads more and more as years go by: %s", query, strings.Join(lines, " | "))
				break
			}
		}
		return true
	})
	if asked < 90 || len(met) != len(wholes) {
		t.Errorf("only %d queries were seen, and of those that read a whole table %v", asked, met)
	}
}

// few are indexes of only the jars on hold, those on the shelf, and the spare tags.
var few = regexp.MustCompile(`jar_hold|jar_shelf|tag_spare`)

// growing are the tables that grow with the years.
const growing = "entry jar batch bottle edge flow gift lot tag act photo print recipe"

// reads tells that a line of a plan reads all of a growing table: not one of the
// newest rows in the order of recording, nor an index of the few that wait.
func reads(line, query string) bool {
	m := wholeTable.FindStringSubmatch(line)
	newest := strings.Contains(query, "ORDER BY seq DESC LIMIT") && !strings.Contains(query, "WHERE")
	return m != nil && strings.Contains(" "+growing+" ", " "+m[1]+" ") && !newest && !few.MatchString(line)
}

func queryPlan(db *sql.DB, query string) ([]string, error) {
	args := make([]any, max(9, strings.Count(query, "?"))) // ?2 alone wants two
	rows, err := db.Query(`EXPLAIN QUERY PLAN `+query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var id, parent, unused int
		var line string
		if err := rows.Scan(&id, &parent, &unused, &line); err != nil {
			return nil, err
		}
		out = append(out, line)
	}
	return out, rows.Err()
}
