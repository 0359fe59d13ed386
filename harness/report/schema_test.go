package report_test

import (
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
)

// schemaFile is published for those who read results.json.
const schemaFile = "results.schema.json"

// schemaOf describes a type as encoding/json writes it.
func schemaOf(t reflect.Type, defs map[string]any) map[string]any {
	switch t.Kind() {
	case reflect.Pointer:
		return schemaOf(t.Elem(), defs)
	case reflect.Slice:
		return map[string]any{"type": []string{"array", "null"}, "items": schemaOf(t.Elem(), defs)}
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Uint32, reflect.Uint64:
		return map[string]any{"type": "integer", "minimum": 0}
	case reflect.Struct:
		if _, known := defs[t.Name()]; !known {
			defs[t.Name()] = nil
			defs[t.Name()] = object(t, defs)
		}
		return map[string]any{"$ref": "#/$defs/" + t.Name()}
	}
	return map[string]any{"type": "integer"}
}

// object describes a struct. Fields may be added within a version, so unknown ones
// are allowed.
func object(t reflect.Type, defs map[string]any) map[string]any {
	fields, needed := map[string]any{}, []string{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, option, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "-" {
			continue
		}
		if f.Anonymous {
			inner := object(f.Type, defs)
			for k, v := range inner["properties"].(map[string]any) {
				fields[k] = v
			}
			needed = append(needed, inner["required"].([]string)...)
			continue
		}
		fields[name] = schemaOf(f.Type, defs)
		if option != "omitempty" {
			needed = append(needed, name)
		}
		if name == "verdict" {
			fields[name] = map[string]any{"enum": []string{harness.VerdictNone, harness.VerdictHolds, harness.VerdictFails, harness.VerdictInconclusive}}
		}
	}
	if _, ok := fields["schema"]; ok {
		fields["schema"] = map[string]any{"const": harness.ResultsSchema}
	}
	slices.Sort(needed)
	return map[string]any{"type": "object", "properties": fields, "required": needed}
}

// The published schema describes the results as they are now. HOLDLINE_UPDATE=1
// writes it anew; within a version fields may only be added.
func TestSchemaIsUpToDate(t *testing.T) {
	defs := map[string]any{}
	schemaOf(reflect.TypeFor[harness.Results](), defs)
	text, err := json.MarshalIndent(map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": harness.ResultsSchema,
		"description": "results.json as every verb of holdline writes it. Times are in seconds from the start of a run.",
		"$ref":        "#/$defs/Results", "$defs": defs,
	}, "", "  ")
	require.NoError(t, err)
	text = append(text, '\n')
	if os.Getenv("HOLDLINE_UPDATE") != "" {
		require.NoError(t, os.WriteFile(schemaFile, text, 0o644))
	}
	was, err := os.ReadFile(schemaFile)
	require.NoError(t, err)
	assert.Equal(t, string(was), string(text))
}

// Real results fit; spoiled ones do not. The validator is a general library for
// JSON Schema 2020-12.
func TestResultsFitTheSchema(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile(schemaFile)
	require.NoError(t, err)
	check := func(text []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		require.NoError(t, err)
		return schema.Validate(v)
	}
	launch := launched(t, "saltmarsh-launch.toml", 1, &harness.Reference{}, nil)
	many := *launch.Results
	many.Runs = []harness.Results{*launch.Results, *brokenRun(t, "wrong sign").Results}
	for _, r := range []*report.Run{launch, brokenRun(t, "wrong sign"), {Results: &many}} {
		text, err := r.Results.JSON()
		require.NoError(t, err)
		assert.NoError(t, check(text))
		for from, to := range map[string]string{
			`"schema": "holdline-results-1"`: `"schema": "holdline-results-2"`,
			`"launches": `:                   `"launchs": `,
			`"verdict": "`:                   `"verdict": "perhaps `,
			`"ticks": `:                      `"ticks": -`,
		} {
			spoiled := strings.Replace(string(text), from, to, 1)
			require.NotEqual(t, string(text), spoiled)
			assert.Error(t, check([]byte(spoiled)), from)
		}
	}
}
