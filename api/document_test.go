package api_test

import (
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"reflect"
	"regexp"
	"sort"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"

	"cruet/api"
	"cruet/internal/larder"
)

// operation finds the document's operation for a path that was asked.
func (s *station) operation(method, path string) map[string]any {
	path, _, _ = strings.Cut(path, "?")
	for template, item := range s.doc["paths"].(map[string]any) {
		pattern := regexp.MustCompile(`\\\{[^}]+\\\}`).ReplaceAllString(regexp.QuoteMeta(template), `[^/]+`)
		if regexp.MustCompile("^" + pattern + "$").MatchString(path) {
			if op, ok := item.(map[string]any)[strings.ToLower(method)].(map[string]any); ok {
				return op
			}
		}
	}
	return nil
}

// promised holds an answer against the schema that the document has for it.
func (s *station) promised(method, path string, w *httptest.ResponseRecorder, answer any) {
	s.t.Helper()
	op := s.operation(method, path)
	if op == nil {
		return // a path or method that is not there
	}
	response, ok := op["responses"].(map[string]any)[fmt.Sprint(w.Code)].(map[string]any)
	if !ok {
		s.t.Errorf("%s %s: the document knows no answer %d", method, path, w.Code)
		return
	}
	media, ok := response["content"].(map[string]any)[w.Header().Get("Content-Type")].(map[string]any)
	if !ok {
		s.t.Errorf("%s %s: the document knows no %s with %d", method, path, w.Header().Get("Content-Type"), w.Code)
		return
	}
	for _, wrong := range s.mismatch(media["schema"].(map[string]any), answer, "") {
		s.t.Errorf("%s %s: %s", method, path, wrong)
	}
}

// mismatch is a validator of the part of JSON Schema 2020-12 that the document
// uses; it fails on a keyword that it does not know.
func (s *station) mismatch(schema map[string]any, v any, where string) []string {
	if ref, ok := schema["$ref"].(string); ok {
		return s.mismatch(s.resolve(ref), v, where)
	}
	var wrong []string
	say := func(format string, args ...any) {
		wrong = append(wrong, where+": "+fmt.Sprintf(format, args...))
	}
	for keyword, rule := range schema {
		switch keyword {
		case "description", "examples", "format", "title", "default", "discriminator", "contentMediaType", "contentEncoding":
		case "type":
			if !isType(rule, v) {
				say("%v is not %v", v, rule)
			}
		case "enum":
			found := false
			for _, one := range rule.([]any) {
				found = found || reflect.DeepEqual(one, v)
			}
			if !found {
				say("%v is none of %v", v, rule)
			}
		case "properties":
			object, _ := v.(map[string]any)
			for name, inner := range rule.(map[string]any) {
				if member, ok := object[name]; ok {
					wrong = append(wrong, s.mismatch(inner.(map[string]any), member, where+"."+name)...)
				}
			}
		case "required":
			object, _ := v.(map[string]any)
			for _, name := range rule.([]any) {
				if _, ok := object[name.(string)]; !ok {
					say("%v is missing", name)
				}
			}
		case "additionalProperties":
			object, _ := v.(map[string]any)
			properties, _ := schema["properties"].(map[string]any)
			for name := range object {
				if _, ok := properties[name]; !ok && rule == false {
					say("%s is not in the document", name)
				}
			}
		case "items":
			items, _ := v.([]any)
			for i, item := range items {
				wrong = append(wrong, s.mismatch(rule.(map[string]any), item, fmt.Sprintf("%s[%d]", where, i))...)
			}
		case "oneOf":
			matches, all := 0, []string(nil)
			for _, one := range rule.([]any) {
				m := s.mismatch(one.(map[string]any), v, where)
				if len(m) == 0 {
					matches++
				}
				all = append(all, m...)
			}
			if matches != 1 {
				say("matches %d of oneOf: %v", matches, all)
			}
		case "maxItems":
			if list, ok := v.([]any); ok && float64(len(list)) > rule.(float64) {
				say("has %d items, more than %v", len(list), rule)
			}
		default:
			say("the validator does not know %s", keyword)
		}
	}
	return wrong
}

func isType(rule, v any) bool {
	if many, ok := rule.([]any); ok {
		for _, one := range many {
			if isType(one, v) {
				return true
			}
		}
		return false
	}
	switch n, number := v.(float64); rule {
	case "null":
		return v == nil
	case "number":
		return number
	case "integer":
		return number && n == float64(int64(n))
	case "string":
		_, ok := v.(string)
		return ok
	case "boolean":
		_, ok := v.(bool)
		return ok
	case "array":
		_, ok := v.([]any)
		return ok
	case "object":
		_, ok := v.(map[string]any)
		return ok
	}
	return false
}

func (s *station) resolve(ref string) map[string]any {
	s.t.Helper()
	var at any = s.doc
	for _, part := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		inner, ok := at.(map[string]any)[part]
		if !ok {
			s.t.Fatalf("%s leads nowhere", ref)
		}
		at = inner
	}
	return at.(map[string]any)
}

// walk visits every object of the document.
func walk(at any, visit func(map[string]any)) {
	switch v := at.(type) {
	case map[string]any:
		visit(v)
		for _, inner := range v {
			walk(inner, visit)
		}
	case []any:
		for _, inner := range v {
			walk(inner, visit)
		}
	}
}

// What is checked is what the OpenAPI Specification 3.1.0 asks of a document.
func TestDocumentIsOpenAPI31(t *testing.T) {
	s := newStation(t)
	if v, _ := s.doc["openapi"].(string); !strings.HasPrefix(v, "3.1.") {
		t.Errorf("openapi is %q", v)
	}
	info := s.doc["info"].(map[string]any) // 4.8.2: title and version are required
	if info["title"] == "" || info["version"] == "" {
		t.Errorf("info lacks its title or version: %v", info)
	}
	walk(s.doc, func(m map[string]any) {
		if ref, ok := m["$ref"].(string); ok {
			s.resolve(ref)
		}
		if d, ok := m["discriminator"].(map[string]any); ok && m["oneOf"] != nil {
			for _, ref := range d["mapping"].(map[string]any) {
				s.resolve(ref.(string))
			}
		}
	})
	seen := map[string]bool{}
	for path, item := range s.doc["paths"].(map[string]any) {
		if !strings.HasPrefix(path, "/") { // 4.8.8.1
			t.Errorf("path %q does not begin with a slash", path)
		}
		for method, one := range item.(map[string]any) {
			op := one.(map[string]any)
			id, _ := op["operationId"].(string)
			if id == "" || seen[id] { // 4.8.10.1: unique among all operations
				t.Errorf("%s %s: operationId %q is missing or used twice", method, path, id)
			}
			seen[id] = true
			checkOperation(t, method+" "+path, path, op)
		}
	}
}

func checkOperation(t *testing.T, name, path string, op map[string]any) {
	t.Helper()
	if op["summary"] == nil {
		t.Errorf("%s has no summary", name)
	}
	inPath := map[string]bool{}
	parameters, _ := op["parameters"].([]any)
	for _, one := range parameters {
		p := one.(map[string]any)
		if p["description"] == nil || p["name"] == nil || p["schema"] == nil {
			t.Errorf("%s: a parameter without name, schema or description: %v", name, p)
		}
		if p["in"] == "path" {
			inPath[p["name"].(string)] = true
			if p["required"] != true { // 4.8.12.2.1
				t.Errorf("%s: the path parameter %v must be required", name, p["name"])
			}
		}
	}
	for _, m := range regexp.MustCompile(`\{([^}]+)\}`).FindAllStringSubmatch(path, -1) {
		if !inPath[m[1]] {
			t.Errorf("%s: {%s} is not described", name, m[1])
		}
	}
	responses := op["responses"].(map[string]any)
	for status, r := range responses {
		if d, _ := r.(map[string]any)["description"].(string); d == "" { // 4.8.17.1: required
			t.Errorf("%s: answer %s has no description", name, status)
		}
	}
	if strings.HasPrefix(name, "post") {
		if op["requestBody"] == nil {
			t.Errorf("%s has no request body", name)
		}
		if _, ok := responses["201"]; ok && !hasHeader(parameters, "Idempotency-Key") {
			t.Errorf("%s records something without a key", name)
		}
	}
}

func hasHeader(parameters []any, name string) bool {
	for _, one := range parameters {
		if p := one.(map[string]any); p["in"] == "header" && p["name"] == name && p["required"] == true {
			return true
		}
	}
	return false
}

// Every route is in the document, and every operation of it is a route.
func TestDocumentHoldsEveryRoute(t *testing.T) {
	s := newStation(t)
	var routes, documented []string
	for _, r := range s.engine.Routes() {
		if strings.HasPrefix(r.Path, api.Root+"/") {
			routes = append(routes, r.Method+" "+regexp.MustCompile(`:(\w+)`).ReplaceAllString(r.Path, "{$1}"))
		}
	}
	for path, item := range s.doc["paths"].(map[string]any) {
		for method := range item.(map[string]any) {
			documented = append(documented, strings.ToUpper(method)+" "+path)
		}
	}
	sort.Strings(routes)
	sort.Strings(documented)
	if !reflect.DeepEqual(routes, documented) {
		t.Errorf("routes\n%s\ndocumented\n%s", strings.Join(routes, "\n"), strings.Join(documented, "\n"))
	}
	if len(routes) < 25 {
		t.Errorf("there are only %d routes", len(routes))
	}
}

// Every field of every schema is described, and examples are of their type.
func TestEveryFieldIsDescribed(t *testing.T) {
	s := newStation(t)
	for name, one := range s.doc["components"].(map[string]any)["schemas"].(map[string]any) {
		properties, _ := one.(map[string]any)["properties"].(map[string]any)
		for field, p := range properties {
			schema := p.(map[string]any)
			if d, _ := schema["description"].(string); d == "" {
				t.Errorf("%s.%s is not described", name, field)
			}
			examples, _ := schema["examples"].([]any)
			for _, example := range examples {
				for _, wrong := range s.mismatch(schema, example, name+"."+field) {
					t.Errorf("example: %s", wrong)
				}
			}
		}
	}
}

// The tags that the document shows could be tags.
func TestExampleTagsPassTheirCheck(t *testing.T) {
	s := newStation(t)
	seen := 0
	walk(s.doc, func(m map[string]any) {
		examples, _ := m["examples"].([]any)
		if e, ok := m["example"]; ok {
			examples = append(examples, e)
		}
		for _, e := range examples {
			if text, ok := e.(string); ok && regexp.MustCompile(`^[0-9A-Z]{6}$|^[0-9A-Z]+-[0-9A-Z]+-[0-9A-Z-]+$`).MatchString(text) {
				seen++
				if _, _, err := larder.ParseTag(text); err != nil {
					t.Error(err)
				}
			}
		}
	})
	if seen < 3 {
		t.Errorf("the document shows %d tags", seen)
	}
}

// A number whose name has no unit, and that is no pure number, is a slip.
func TestNumbersCarryUnits(t *testing.T) {
	s := newStation(t)
	units := regexp.MustCompile(`_(ml|mm|px|c|g|days|hours|days_ago|g_per_100ml|mol_per_l|u_mol_per_l|tolerance_ml|part|percent_vol|percent|mv|g_per_100g|count)$|^g_per_100ml$`)
	// Counts, identities and pure numbers; value stands beside its unit or under
	// the name of its quantity.
	pure := map[string]bool{"ph": true, "endpoint_ph": true, "buffer_ph": true, "shown_ph": true, "purity": true, "mv": true, "corrected_ph": true, "specific_gravity": true, "brix": true, "dilution_factor": true, "value": true,
		"minutes": true, "count": true, "number": true, "jars": true, "replicates": true, "status": true, "seq": true, "id": true, "batch_id": true,
		"columns": true, "rows": true, "dpi": true, "first": true, "copies": true, "version": true, "batches": true, "entries": true, "lots": true,
		"bottles": true, "gifts": true, "photos": true, "depth": true, "back": true, "forward": true, "given": true}
	for name, one := range s.doc["components"].(map[string]any)["schemas"].(map[string]any) {
		properties, _ := one.(map[string]any)["properties"].(map[string]any)
		for field, p := range properties {
			kind := p.(map[string]any)["type"]
			if (kind == huma.TypeNumber || kind == huma.TypeInteger) && !units.MatchString(field) && !pure[field] {
				t.Errorf("%s.%s is a number without a unit", name, field)
			}
		}
	}
}

func TestDocumentIsServedAlone(t *testing.T) {
	s := newStation(t)
	w := s.raw("GET", api.DocumentPath, "", "")
	if !json.Valid(w.Body.Bytes()) || !strings.Contains(w.Header().Get("Content-Type"), "json") {
		t.Errorf("the document is no JSON: %s", w.Header().Get("Content-Type"))
	}
	if w.Header().Get("Content-Security-Policy") == "" {
		t.Error("the document lost its security headers")
	}
	for _, path := range []string{"/docs", "/schemas/Jar.json", "/openapi.json", "/openapi.yaml"} {
		if w := s.raw("GET", path, "", ""); w.Code != 404 {
			t.Errorf("%s answers %d", path, w.Code)
		}
	}
}
