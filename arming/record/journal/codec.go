package journal

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
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

// words gives the text of every enumeration that an entry may have, by value.
var words = map[reflect.Type][]string{
	reflect.TypeFor[arming.Phase]():    stringsOf[arming.Phase](),
	reflect.TypeFor[arming.Line]():     stringsOf[arming.Line](),
	reflect.TypeFor[arming.Contact]():  stringsOf[arming.Contact](),
	reflect.TypeFor[arming.Means]():    stringsOf[arming.Means](),
	reflect.TypeFor[arming.Fate]():     stringsOf[arming.Fate](),
	reflect.TypeFor[arming.Mode]():     stringsOf[arming.Mode](),
	reflect.TypeFor[checklist.Role]():  stringsOf[checklist.Role](),
	reflect.TypeFor[checklist.Phase](): stringsOf[checklist.Phase](),
	reflect.TypeFor[checklist.Gate]():  stringsOf[checklist.Gate](),
	reflect.TypeFor[checklist.Kind](): {"none", "words", "name", "quantity", "measured", "accept", "secret", "proof",
		"line"},
	reflect.TypeFor[arming.Level]():   {"unknown", "dead", "between", "live"},
	reflect.TypeFor[arming.OhmKind](): {"not measured", "open", "value"},
	reflect.TypeFor[arming.Fact](): {"none", "key out", "key in", "battery off", "bus dead", "pressed", "released",
		"at rest", "movement", "shunted", "fire watched"},
}

// stringsOf collects the words of an enumeration. Past its last value the
// text has the form name(number).
func stringsOf[E interface {
	~int
	fmt.Stringer
}]() []string {
	var out []string
	for e := E(0); !strings.HasSuffix(e.String(), fmt.Sprintf("(%d)", int(e))); e++ {
		out = append(out, e.String())
	}
	return out
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

// member is the name of a struct's field in an entry.
func member(f reflect.StructField) string {
	if f.Type == reflect.TypeFor[time.Duration]() {
		return snake(f.Name) + "_us"
	}
	return snake(f.Name)
}

// encode turns a value into what encoding/json writes. It refuses whatever
// would not come back as it was.
func encode(v reflect.Value) (any, error) {
	if names, ok := words[v.Type()]; ok {
		if i := v.Int(); i >= 0 && i < int64(len(names)) {
			return names[i], nil
		}
		return nil, fmt.Errorf("%v %d has no name", v.Type(), v.Int())
	}
	switch x := v.Interface().(type) {
	case time.Duration:
		if x%time.Microsecond != 0 {
			return nil, fmt.Errorf("%v is not in whole microseconds", x)
		}
		return encodeInt(x.Microseconds()), nil
	case arming.Instant:
		return encodeList(reflect.ValueOf([]time.Duration{x.Mono, x.Wall}))
	case string:
		if !utf8.ValidString(x) {
			return nil, fmt.Errorf("text %q is not UTF-8", x)
		}
		return x, nil
	case float64:
		return encodeFloat(x), nil
	}
	switch v.Kind() {
	case reflect.Bool, reflect.Uint8, reflect.Uint16, reflect.Uint32:
		return v.Interface(), nil
	case reflect.Int, reflect.Int32, reflect.Int64:
		return encodeInt(v.Int()), nil
	case reflect.Struct:
		return encodeStruct(v)
	case reflect.Array, reflect.Slice:
		return encodeList(v)
	}
	return nil, fmt.Errorf("a value of type %v cannot be written", v.Type())
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
func encodeList(v reflect.Value) ([]any, error) {
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

// decode puts what encode wrote into v, which is settable.
func decode(in json.RawMessage, v reflect.Value) error {
	if names, ok := words[v.Type()]; ok {
		var word string
		err := json.Unmarshal(in, &word)
		i := slices.Index(names, word)
		if err != nil || i < 0 {
			return fmt.Errorf("%s is no %v", in, v.Type())
		}
		v.SetInt(int64(i))
		return nil
	}
	switch to := v.Addr().Interface().(type) {
	case *time.Duration:
		us, err := strconv.ParseInt(bare(in), 10, 64)
		if err != nil || us > math.MaxInt64/1000 || us < -math.MaxInt64/1000 {
			return fmt.Errorf("%s is not a whole number in range", in)
		}
		*to = time.Duration(us) * time.Microsecond
		return nil
	case *arming.Instant:
		var pair []json.RawMessage
		if err := json.Unmarshal(in, &pair); err != nil || len(pair) != 2 {
			return fmt.Errorf("%s is not a pair of times", in)
		}
		return decodeTimes(pair, to)
	case *float64:
		f, err := strconv.ParseFloat(bare(in), 64)
		if err != nil {
			return fmt.Errorf("%s is not a number", in)
		}
		*to = f
		return nil
	}
	switch v.Kind() {
	case reflect.Int, reflect.Int32, reflect.Int64:
		i, err := strconv.ParseInt(bare(in), 10, v.Type().Bits())
		if err != nil {
			return fmt.Errorf("%s is not a whole number in range", in)
		}
		v.SetInt(i)
		return nil
	case reflect.Struct:
		return decodeStruct(in, v)
	case reflect.Array, reflect.Slice:
		return decodeList(in, v)
	}
	if err := json.Unmarshal(in, v.Addr().Interface()); err != nil || string(in) == "null" {
		return fmt.Errorf("%s is no %v", in, v.Type())
	}
	return nil
}

// bare takes the quotes off a number that was written as text.
func bare(in json.RawMessage) string { return strings.Trim(string(in), `"`) }

func decodeTimes(pair []json.RawMessage, to *arming.Instant) error {
	if err := decode(pair[0], reflect.ValueOf(&to.Mono).Elem()); err != nil {
		return err
	}
	return decode(pair[1], reflect.ValueOf(&to.Wall).Elem())
}

func decodeStruct(in json.RawMessage, v reflect.Value) error {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(in, &members); err != nil || members == nil {
		return fmt.Errorf("%s is not an object", in)
	}
	known := 0
	for i := range v.NumField() {
		name := member(v.Type().Field(i))
		val, ok := members[name]
		if !ok {
			continue
		}
		known++
		v.Field(i).SetZero() // what an entry leaves out is zero
		if err := decode(val, v.Field(i)); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	if known < len(members) {
		return fmt.Errorf("a member of %s is not known", in)
	}
	return nil
}

func decodeList(in json.RawMessage, v reflect.Value) error {
	var list []json.RawMessage
	if err := json.Unmarshal(in, &list); err != nil || list == nil {
		return fmt.Errorf("%s is not a list", in)
	}
	if v.Kind() == reflect.Slice {
		v.Set(reflect.MakeSlice(v.Type(), len(list), len(list)))
	} else if len(list) > v.Len() {
		return fmt.Errorf("a list of %d, at most %d", len(list), v.Len())
	}
	for i, val := range list {
		if err := decode(val, v.Index(i)); err != nil {
			return fmt.Errorf("%d: %w", i, err)
		}
	}
	return nil
}
