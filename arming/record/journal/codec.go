package journal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"holdline/arming"
	"holdline/checklist"
)

// maxInteger is the largest whole number that every JSON reader keeps
// (RFC 7493 section 2.2).
const maxInteger = 1<<53 - 1

var (
	durationType = reflect.TypeFor[time.Duration]()
	instantType  = reflect.TypeFor[arming.Instant]()
)

// words gives the text of every enumeration that a line may hold, by value.
var words = map[reflect.Type][]string{
	reflect.TypeFor[arming.Phase]():    stringsOf(func(i int) string { return arming.Phase(i).String() }),
	reflect.TypeFor[arming.Line]():     stringsOf(func(i int) string { return arming.Line(i).String() }),
	reflect.TypeFor[arming.Contact]():  stringsOf(func(i int) string { return arming.Contact(i).String() }),
	reflect.TypeFor[arming.Means]():    stringsOf(func(i int) string { return arming.Means(i).String() }),
	reflect.TypeFor[arming.Fate]():     stringsOf(func(i int) string { return arming.Fate(i).String() }),
	reflect.TypeFor[arming.Mode]():     stringsOf(func(i int) string { return arming.Mode(i).String() }),
	reflect.TypeFor[checklist.Role]():  stringsOf(func(i int) string { return checklist.Role(i).String() }),
	reflect.TypeFor[checklist.Phase](): stringsOf(func(i int) string { return checklist.Phase(i).String() }),
	reflect.TypeFor[checklist.Gate]():  stringsOf(func(i int) string { return checklist.Gate(i).String() }),
	reflect.TypeFor[checklist.Kind](): {"none", "words", "name", "quantity", "measured", "accept", "secret", "proof",
		"line"},
	reflect.TypeFor[arming.Level]():   {"unknown", "dead", "between", "live"},
	reflect.TypeFor[arming.OhmKind](): {"not measured", "open", "value"},
	reflect.TypeFor[arming.Fact](): {"none", "key out", "key in", "battery off", "bus dead", "pressed", "released",
		"at rest", "movement", "shunted", "fire watched"},
}

// stringsOf collects the words of an enumeration. Past its last value the
// text has the form name(number).
func stringsOf(text func(int) string) []string {
	var out []string
	for i := 0; ; i++ {
		s := text(i)
		if strings.HasSuffix(s, fmt.Sprintf("(%d)", i)) {
			return out
		}
		out = append(out, s)
	}
}

// snake turns RestM into rest_m and ID into id.
func snake(name string) string {
	var b strings.Builder
	var before rune
	for _, r := range name {
		if unicode.IsUpper(r) && before != 0 && !unicode.IsUpper(before) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
		before = r
	}
	return b.String()
}

// member is the name of a struct's field in a line.
func member(f reflect.StructField) string {
	if f.Type == durationType {
		return snake(f.Name) + "_us"
	}
	return snake(f.Name)
}

// encode turns a value into what encoding/json writes. It refuses whatever
// would not come back as it was.
func encode(v reflect.Value) (any, error) {
	t := v.Type()
	if names, ok := words[t]; ok {
		if i := v.Int(); i >= 0 && i < int64(len(names)) {
			return names[i], nil
		}
		return nil, fmt.Errorf("%v %d has no name", t, v.Int())
	}
	switch t {
	case durationType:
		return microseconds(time.Duration(v.Int()))
	case instantType:
		return encodeInstant(v.Interface().(arming.Instant))
	}
	switch v.Kind() {
	case reflect.Bool:
		return v.Bool(), nil
	case reflect.String:
		if !utf8.ValidString(v.String()) {
			return nil, fmt.Errorf("text %q is not UTF-8", v.String())
		}
		return v.String(), nil
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return encodeInt(v.Int()), nil
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32:
		return v.Uint(), nil
	case reflect.Float64:
		return encodeFloat(v.Float()), nil
	case reflect.Struct:
		return encodeStruct(v)
	case reflect.Array, reflect.Slice:
		return encodeList(v)
	}
	return nil, fmt.Errorf("a value of type %v cannot be written", t)
}

func microseconds(d time.Duration) (any, error) {
	if d%time.Microsecond != 0 {
		return nil, fmt.Errorf("%v is not in whole microseconds", d)
	}
	return encodeInt(d.Microseconds()), nil
}

func encodeInstant(at arming.Instant) (any, error) {
	mono, err := microseconds(at.Mono)
	if err != nil {
		return nil, err
	}
	wall, err := microseconds(at.Wall)
	if err != nil {
		return nil, err
	}
	return []any{mono, wall}, nil
}

// encodeInt writes numbers that not every reader keeps as text.
func encodeInt(i int64) any {
	if i > maxInteger || i < -maxInteger {
		return strconv.FormatInt(i, 10)
	}
	return i
}

// encodeFloat does the same; text too are the values that JSON has no number
// for, and the negative zero that its canonical form forgets.
func encodeFloat(f float64) any {
	if math.IsNaN(f) || math.Abs(f) > maxInteger || (f == 0 && math.Signbit(f)) {
		return strconv.FormatFloat(f, 'g', -1, 64)
	}
	return f
}

func encodeStruct(v reflect.Value) (any, error) {
	out := map[string]any{}
	for i := range v.NumField() {
		if isZero(v.Field(i)) {
			continue
		}
		val, err := encode(v.Field(i))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", member(v.Type().Field(i)), err)
		}
		out[member(v.Type().Field(i))] = val
	}
	return out, nil
}

// isZero tells a negative zero from zero, which reflect does not.
func isZero(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return math.Float64bits(v.Float()) == 0
	case reflect.Struct:
		for i := range v.NumField() {
			if !isZero(v.Field(i)) {
				return false
			}
		}
		return true
	}
	return v.IsZero()
}

// encodeList leaves zero elements at the end of an array out.
func encodeList(v reflect.Value) (any, error) {
	n := v.Len()
	if v.Kind() == reflect.Array {
		for n > 0 && isZero(v.Index(n-1)) {
			n--
		}
	}
	out := make([]any, 0, n)
	for i := range n {
		val, err := encode(v.Index(i))
		if err != nil {
			return nil, fmt.Errorf("%d: %w", i, err)
		}
		out = append(out, val)
	}
	return out, nil
}

// parse reads JSON with its numbers as they stand.
func parse(body []byte) (any, error) {
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.UseNumber()
	var out any
	if err := dec.Decode(&out); err != nil {
		return nil, err
	}
	return out, nil
}

// decode puts a value read by parse into v, which is settable.
func decode(in any, v reflect.Value) error {
	t := v.Type()
	if names, ok := words[t]; ok {
		return decodeWord(in, v, names)
	}
	switch t {
	case durationType:
		us, err := decodeInt(in, math.MaxInt64/1000)
		v.SetInt(us * 1000)
		return err
	case instantType:
		at, err := decodeInstant(in)
		v.Set(reflect.ValueOf(at))
		return err
	}
	switch v.Kind() {
	case reflect.Bool:
		b, ok := in.(bool)
		if !ok {
			return fmt.Errorf("%v is not true or false", in)
		}
		v.SetBool(b)
	case reflect.String:
		s, ok := in.(string)
		if !ok {
			return fmt.Errorf("%v is not text", in)
		}
		v.SetString(s)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		i, err := decodeInt(in, math.MaxInt64)
		if err != nil || v.OverflowInt(i) {
			return fmt.Errorf("%v is not a whole number in range", in)
		}
		v.SetInt(i)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32:
		i, err := decodeInt(in, math.MaxInt64)
		if err != nil || i < 0 || v.OverflowUint(uint64(i)) {
			return fmt.Errorf("%v is not a whole number in range", in)
		}
		v.SetUint(uint64(i))
	case reflect.Float64:
		f, err := decodeFloat(in)
		v.SetFloat(f)
		return err
	case reflect.Struct:
		return decodeStruct(in, v)
	case reflect.Array, reflect.Slice:
		return decodeList(in, v)
	default:
		return fmt.Errorf("a value of type %v cannot be read", t)
	}
	return nil
}

func decodeWord(in any, v reflect.Value, names []string) error {
	s, _ := in.(string)
	for i, name := range names {
		if name == s {
			v.SetInt(int64(i))
			return nil
		}
	}
	return fmt.Errorf("%v is no %v", in, v.Type())
}

func decodeInt(in any, most int64) (int64, error) {
	var text string
	switch n := in.(type) {
	case json.Number:
		text = n.String()
	case string:
		text = n
	}
	i, err := strconv.ParseInt(text, 10, 64)
	if err != nil || i > most || (i < -most && most < math.MaxInt64) {
		return 0, fmt.Errorf("%v is not a whole number in range", in)
	}
	return i, nil
}

func decodeFloat(in any) (float64, error) {
	var text string
	switch n := in.(type) {
	case json.Number:
		text = n.String()
	case string:
		text = n
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%v is not a number", in)
	}
	return f, nil
}

func decodeInstant(in any) (arming.Instant, error) {
	pair, ok := in.([]any)
	if !ok || len(pair) != 2 {
		return arming.Instant{}, fmt.Errorf("%v is not a pair of times", in)
	}
	return decodeTimes(pair)
}

func decodeTimes(pair []any) (arming.Instant, error) {
	mono, err := decodeInt(pair[0], math.MaxInt64/1000)
	if err != nil {
		return arming.Instant{}, err
	}
	wall, err := decodeInt(pair[1], math.MaxInt64/1000)
	if err != nil {
		return arming.Instant{}, err
	}
	return arming.Instant{Mono: time.Duration(mono) * time.Microsecond, Wall: time.Duration(wall) * time.Microsecond}, nil
}

func decodeStruct(in any, v reflect.Value) error {
	obj, ok := in.(map[string]any)
	if !ok {
		return fmt.Errorf("%v is not an object", in)
	}
	known := 0
	for i := range v.NumField() {
		name := member(v.Type().Field(i))
		val, ok := obj[name]
		if !ok {
			continue
		}
		known++
		v.Field(i).SetZero() // what a line leaves out is zero
		if err := decode(val, v.Field(i)); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	if known < len(obj) {
		return fmt.Errorf("a member of %v is not known", in)
	}
	return nil
}

func decodeList(in any, v reflect.Value) error {
	list, ok := in.([]any)
	if !ok {
		return fmt.Errorf("%v is not a list", in)
	}
	if v.Kind() == reflect.Slice {
		v.Set(reflect.MakeSlice(v.Type(), len(list), len(list)))
	} else if len(list) > v.Len() {
		return fmt.Errorf("a list of %d, at most %d", len(list), v.Len())
	} else {
		v.SetZero()
	}
	for i, val := range list {
		if err := decode(val, v.Index(i)); err != nil {
			return fmt.Errorf("%d: %w", i, err)
		}
	}
	return nil
}
