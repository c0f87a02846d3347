package settings

import (
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

const prefix = "AFTERBEAM_"

// leaf is one setting with its key in the file and its variable. What stands in a list has no variable: lists are given
// in the file alone.
type leaf struct {
	key, variable string
	secret        bool
	value         reflect.Value
}

// leaves walks the settings in the order in which they are declared.
func leaves(v reflect.Value, path string) []leaf {
	var all []leaf
	for i := range v.NumField() {
		field := v.Type().Field(i)
		key := path + field.Tag.Get("toml")
		switch {
		case field.Type.Kind() == reflect.Struct:
			all = append(all, leaves(v.Field(i), key+".")...)
			continue
		case field.Type.Kind() == reflect.Slice && field.Type.Elem().Kind() == reflect.Struct:
			for n := range v.Field(i).Len() {
				all = append(all, leaves(v.Field(i).Index(n), fmt.Sprintf("%s[%d].", key, n))...)
			}
			continue
		}
		all = append(all, leaf{key, field.Tag.Get("env"), field.Tag.Get("secret") != "", v.Field(i)})
	}
	return all
}

// overlay puts the environment over the settings. A variable with our prefix that names no setting is an error.
func overlay(s *Settings, environ []string) error {
	all := leaves(reflect.ValueOf(s).Elem(), "")
	for _, entry := range environ {
		name, text, _ := strings.Cut(entry, "=")
		if !strings.HasPrefix(name, prefix) {
			continue
		}
		i := slices.IndexFunc(all, func(l leaf) bool { return l.variable == name })
		if i < 0 {
			return fmt.Errorf("environment variable %s names no setting", name)
		}
		if err := set(all[i].value, text); err != nil {
			return fmt.Errorf("environment variable %s: %w", name, err)
		}
	}
	return nil
}

func set(v reflect.Value, text string) error {
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Bool:
		b, err := strconv.ParseBool(text)
		if err != nil {
			return fmt.Errorf("wants true or false, got %q", text)
		}
		v.SetBool(b)
	case reflect.Int:
		n, err := strconv.ParseInt(text, 10, 32)
		if err != nil {
			return fmt.Errorf("wants a whole number, got %q", text)
		}
		v.SetInt(n)
	case reflect.Float64:
		f, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("wants a number, got %q", text)
		}
		v.SetFloat(f)
	default:
		return fmt.Errorf("setting of kind %v", v.Kind())
	}
	return nil
}

// Print writes the effective settings, one a line with its environment variable, secrets masked.
func (s Settings) Print(w io.Writer) error {
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		value := fmt.Sprintf("%#v", l.value.Interface())
		if l.secret && !l.value.IsZero() {
			value = `"(set, not shown)"`
		}
		if list, ok := l.value.Interface().([]string); ok {
			value = "[" + strings.Join(quoted(list), ", ") + "]"
		}
		variable := l.variable
		if variable == "" {
			variable = "in the file alone"
		}
		if _, err := fmt.Fprintf(w, "%-28s = %-28s # %s\n", l.key, value, variable); err != nil {
			return err
		}
	}
	return nil
}

func quoted(list []string) []string {
	var all []string
	for _, text := range list {
		all = append(all, strconv.Quote(text))
	}
	return all
}
