package web

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/httpapi"
)

// layersInForm is how many layers of a table the form has room for.
const layersInForm = 4

// kindOf says how a particular is typed.
type kindOf string

const (
	aText   kindOf = "text"
	aNumber kindOf = "number"
	aDay    kindOf = "date"
	aTick   kindOf = "tick"
	aChoice kindOf = "choice"
)

// particular is one thing that is known of a device: where it stands in httpapi.ProfileParticulars, how it is typed, and its
// value as it is written, "" where nothing is known.
type particular struct {
	Path    string // joined by dots; numbers are places in a list
	Kind    kindOf
	Unit    string
	Choices []string
	Value   string
}

// Name is that of the field in a form, and of its words in the language files.
func (p particular) Name() string { return strings.ReplaceAll(p.Path, ".", "_") }

// particulars lists what a profile may say, in the order of the form.
func particulars() []particular {
	all := []particular{
		{Path: "name", Kind: aText},
		{Path: "mobile", Kind: aTick},
		{Path: "meter", Kind: aChoice, Choices: []string{"unchecked", "checked"}},
	}
	for _, factor := range []string{"kerma_factor", "kap_factor"} {
		all = append(all, particular{Path: factor + ".value", Kind: aNumber}, particular{Path: factor + ".uncertainty_percent", Kind: aNumber, Unit: "%"},
			particular{Path: factor + ".from", Kind: aDay}, particular{Path: factor + ".until", Kind: aDay}, particular{Path: factor + ".includes_table", Kind: aTick})
	}
	all = append(all,
		particular{Path: "source_to_reference_mm", Kind: aNumber, Unit: "mm"}, particular{Path: "source_to_isocentre_mm", Kind: aNumber, Unit: "mm"},
		particular{Path: "inherent_aluminium_mm", Kind: aNumber, Unit: "mm"},
		particular{Path: "angle_frame", Kind: aChoice, Choices: []string{"unknown", "patient", "gantry"}},
		particular{Path: "field_plane", Kind: aChoice, Choices: []string{"detector", "reference", "isocentre"}},
	)
	for axis, ways := range [][]string{{"head", "foot"}, {"left", "right"}, {"down", "up"}} {
		name := "table_axes." + []string{"longitudinal", "lateral", "height"}[axis]
		all = append(all, particular{Path: name + ".grows_toward", Kind: aChoice, Choices: ways}, particular{Path: name + ".at_isocentre_mm", Kind: aNumber, Unit: "mm"})
	}
	all = append(all, particular{Path: "table.known", Kind: aChoice, Choices: []string{"default", "typed", "measured"}},
		particular{Path: "table.width_mm", Kind: aNumber, Unit: "mm"}, particular{Path: "table.length_mm", Kind: aNumber, Unit: "mm"}, particular{Path: "table.mattress_mm", Kind: aNumber, Unit: "mm"})
	for i := range layersInForm {
		name := "table.layer." + strconv.Itoa(i)
		all = append(all, particular{Path: name + ".material", Kind: aChoice, Choices: []string{"carbon_fibre", "foam", "aluminium", "water", "pmma"}},
			particular{Path: name + ".mass_g_cm2", Kind: aNumber, Unit: "g/cm²"})
	}
	return all
}

// particularsOf gives every particular with what a profile says of it.
func particularsOf(profile []byte) ([]particular, error) {
	var tree any
	if err := json.Unmarshal(profile, &tree); err != nil {
		return nil, fmt.Errorf("particulars of a profile: %w", err)
	}
	all := particulars()
	for i := range all {
		all[i].Value = written(tree, strings.Split(all[i].Path, "."))
	}
	return all, nil
}

// written gives what stands at a path as it is typed, "" for nothing.
func written(tree any, path []string) string {
	for _, step := range path {
		switch one := tree.(type) {
		case map[string]any:
			tree = one[step]
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(one) {
				return ""
			}
			tree = one[i]
		default:
			return ""
		}
	}
	switch value := tree.(type) {
	case string:
		return value
	case float64:
		return strconv.FormatFloat(value, 'f', -1, 64)
	case bool:
		if value {
			return "yes"
		}
	}
	return ""
}

// said tells which particulars have a value.
func said(all []particular) []particular {
	var some []particular
	for _, p := range all {
		if p.Value != "" {
			some = append(some, p)
		}
	}
	return some
}

// typedParticulars reads the particulars of a form. It returns the name of a field that holds no number where one is wanted.
func (v *view) typedParticulars() (to httpapi.ProfileParticulars, wrong string, err error) {
	tree := map[string]any{}
	var layers []map[string]any
	for _, p := range particulars() {
		text := v.text(p.Name())
		if text == "" {
			continue
		}
		var value any = text
		switch p.Kind {
		case aTick:
			value = true
		case aNumber:
			n, err := number(text)
			if err != nil {
				return to, p.Name(), nil
			}
			value = n
		case aText, aDay, aChoice:
		}
		steps := strings.Split(p.Path, ".")
		if len(steps) > 2 && steps[1] == "layer" {
			layers = layered(layers, steps, value)
			continue
		}
		put(tree, steps, value)
	}
	if layers != nil {
		put(tree, []string{"table", "layer"}, layers)
	}
	body, err := json.Marshal(tree)
	if err != nil {
		return to, "", err
	}
	return to, "", json.Unmarshal(body, &to)
}

// layered puts a value into a layer of a table; a row of the form that was left out counts as no layer.
func layered(layers []map[string]any, steps []string, value any) []map[string]any {
	row, name := steps[2], steps[3]
	if n := len(layers); n == 0 || layers[n-1]["row"] != row {
		layers = append(layers, map[string]any{"row": row})
	}
	layers[len(layers)-1][name] = value
	return layers
}

// put sets what stands at a path.
func put(tree map[string]any, path []string, value any) {
	for _, step := range path[:len(path)-1] {
		next, ok := tree[step].(map[string]any)
		if !ok {
			next = map[string]any{}
			tree[step] = next
		}
		tree = next
	}
	tree[path[len(path)-1]] = value
}
