package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
)

//go:embed assets/sheet.css
var styleText string

//go:embed assets/chart.js
var chartScript string

//go:embed assets/index.js
var indexScript string

//go:embed assets/page.html
var pageText string

//go:embed assets/overlay.html
var overlayText string

//go:embed assets/tables.html
var tablesText string

//go:embed assets/index.html
var indexText string

// sheet is what every kind of page has: a title, one style, at most one script,
// and a policy that lets the browser load and run nothing else.
type sheet struct {
	Title  string
	Kind   string
	Style  template.CSS
	Script template.JS
	Policy string
}

func newSheet(title string) sheet {
	return sheet{Title: title, Style: template.CSS(styleText), Policy: policy("")}
}

func (s *sheet) script(text string) {
	s.Script, s.Policy = template.JS(text), policy(text)
}

// policy allows our own style and script by their hashes (W3C Content Security
// Policy Level 3), and nothing from anywhere.
func policy(script string) string {
	p := "default-src 'none'; style-src '" + hash(styleText) + "'; base-uri 'none'; form-action 'none'"
	if script != "" {
		p += "; script-src '" + hash(script) + "'"
	}
	return p
}

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// The templates share what page.html defines.
var (
	pageTemplate    = template.Must(template.New("page").Parse(pageText))
	overlayTemplate = sharing("overlay", overlayText)
	tablesTemplate  = sharing("tables", tablesText)
	indexTemplate   = sharing("index", indexText)
)

func sharing(name, text string) *template.Template {
	t := template.Must(template.New("page").Parse(pageText))
	return template.Must(t.New(name).Parse(text))
}
