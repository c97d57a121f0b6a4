package chart

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// chart is an invented run: up to 41 m/s in 60 m, then slower to rest at 131 m.
func run() Chart {
	c := Chart{
		Title:  "Four motors & a wire, Ω <trial>",
		Answer: "GO: every limit holds",
		Source: "sheet 0123456789abcdef, 10000 runs, seed 1",

		ClearLengthM: 220, StopMarginM: 20, FrontLimitN: 1.2,
		Devices:    []Device{{"tail chute", 60}, {"sand bed", 63}, {"line", 95}},
		RestSpread: &Spread{P05M: 118, P50M: 131, P95M: 150, P999M: 168},
		Rests: []Rest{
			{"nominal", 131, Nominal}, {"motor 1 silent", 98, SingleFault}, {"motor 1 late at rest", 188, SingleFault},
			{"tail chute absent", 205, SingleFault}, {"all stops absent", 640, AllAbsent}, {"tailwind", 139, SingleFault},
		},
	}
	for i := 0; i <= 262; i++ {
		x := 131 * float64(i) / 262
		v := 41.3 * math.Sqrt(x/60)
		front := 3.1 + 0.8*math.Sin(x/9)
		if x > 60 {
			v = 41.3 * math.Sqrt((131-x)/71)
			front = 6.2
		}
		c.Run = append(c.Run, Sample{x, v, front, 13.9 - front})
		c.Band = append(c.Band, Band{x, 0.94 * v, 1.05 * v})
	}
	return c
}

func TestEveryFormatIsDrawnTheSameTwice(t *testing.T) {
	for _, ending := range Formats {
		once, err := Draw(run(), "run"+ending)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Draw(run(), "RUN"+strings.ToUpper(ending))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(once, again) {
			t.Errorf("%s: two drawings of one chart differ", ending)
		}
		if folder := os.Getenv("PLOT_FOLDER"); folder != "" { // to look at them
			if err := os.WriteFile(filepath.Join(folder, "run"+ending), once, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestSVGIsWellFormedAndSaysEveryCase(t *testing.T) {
	data, err := Draw(run(), "run.svg")
	if err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	decoder := xml.NewDecoder(bytes.NewReader(data))
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("svg: %v", err)
		}
		if text, ok := token.(xml.CharData); ok {
			said.Write(text)
			said.WriteByte('\n')
		}
	}
	c := run()
	want := []string{c.Title, c.Answer, c.Source, "131 m", "640 m", "188 m", "168 m"}
	for _, r := range c.Rests {
		want = append(want, r.Case)
	}
	for _, d := range c.Devices {
		want = append(want, d.Name)
	}
	for _, w := range want {
		if !strings.Contains(said.String(), w) {
			t.Errorf("svg does not say %q", w)
		}
	}
}

// The picture must have ink where the chart says: the run's line at its peak,
// the red line at the end of the cleared strip, and white in a corner.
func TestPNGHasInkInItsPlace(t *testing.T) {
	data, err := Draw(run(), "run.png")
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	page := run().page(coloured, Scene{}, plotLeft, plotRight, plotRight)
	at := func(x, y float64) (r, g, b int) {
		c := img.At(int(x*dotsPerPoint), int(y*dotsPerPoint))
		rr, gg, bb, _ := c.RGBA()
		return int(rr >> 8), int(gg >> 8), int(bb >> 8)
	}
	if r, g, b := at(page.x(220), loadTop+25); r-g < 80 || r-b < 60 {
		t.Errorf("end of the cleared strip: got colour %d %d %d, want red", r, g, b)
	}
	if r, g, b := at(page.x(131), restTop+restRow*0.75); r > 40 || b < 100 {
		t.Errorf("nominal rest: got colour %d %d %d, want blue", r, g, b)
	}
	if r, g, b := at(5, 5); r+g+b != 3*255 {
		t.Errorf("corner: got colour %d %d %d, want white", r, g, b)
	}
}

func TestUSUnitsAreDrawn(t *testing.T) {
	c := run()
	c.US = true
	data, err := Draw(c, "run.svg")
	if err != nil {
		t.Fatal(err)
	}
	// 220 m are 721.8 ft, 41.3 m/s are 92.4 mph: NIST SP 811 factors.
	for _, want := range []string{"722 ft", "92.4 mph", "axle load, lbf"} {
		if !strings.Contains(string(data), want) {
			t.Errorf("svg in US units does not say %q", want)
		}
	}
}

func TestWhatCannotBeDrawnIsRefused(t *testing.T) {
	if _, err := Draw(run(), "run.jpg"); err == nil || !strings.Contains(err.Error(), `".jpg"`) {
		t.Errorf("unknown ending: got %v", err)
	}
}

func TestARunThatDoesNotMoveIsSaidToBeOne(t *testing.T) {
	c := run()
	c.Run, c.Band, c.Devices, c.RestSpread = nil, nil, nil, nil
	for _, ending := range Formats {
		data, err := Draw(c, "run"+ending)
		if err != nil {
			t.Fatal(err)
		}
		if ending == ".svg" && !strings.Contains(string(data), "the nominal run does not move") {
			t.Error("svg does not say that the run does not move")
		}
	}
}

func TestTicksAreRoundAndInside(t *testing.T) {
	for _, limits := range [][2]float64{{0, 246}, {0, 0.7}, {-3, 14}, {0, 20000}} {
		got := ticks(limits[0], limits[1], 5)
		if len(got) < 3 || len(got) > 11 {
			t.Errorf("ticks of %v: got %v", limits, got)
		}
		for _, tick := range got {
			if tick < limits[0] || tick > limits[1]*(1+1e-9) {
				t.Errorf("tick %v outside %v", tick, limits)
			}
		}
	}
	if got := ticks(1, 1, 5); got != nil {
		t.Errorf("ticks of nothing: got %v", got)
	}
}

// The top speed's name is drawn last of all in its panel, on a ground of its
// own: a device close behind the peak draws no line through it.
func TestNoLineRunsThroughThePeaksName(t *testing.T) {
	data, err := Draw(run(), "run.svg")
	if err != nil {
		t.Fatal(err)
	}
	svg := string(data)
	name, line, ground := strings.Index(svg, ">peak "), strings.LastIndex(svg, "stroke-dasharray"), strings.LastIndex(svg, `fill="#ffffff" fill-opacity`)
	if name < 0 || line < 0 || !(line < ground && ground < name) {
		t.Errorf("the name at %d, the last dashed line at %d, its ground at %d", name, line, ground)
	}
}

// Every text ends inside its page, and has no blanks that a reader of SVG makes
// one of: legends would run together.
func TestNoTextIsCut(t *testing.T) {
	narrow := run()
	narrow.ClearLengthM = 131 // its end stands at the right edge
	restM, speedMps := 130.5, 41.0
	measured := run()
	measured.MeasuredRestM, measured.MeasuredMps = &restM, &speedMps
	for name, s := range map[string]*Scene{"whole": run().scene(), "narrow": narrow.scene(), "small": measured.Speeds(286, 118)} {
		for _, sh := range s.shapes {
			from := sh.at.X
			switch sh.anchor {
			case Middle:
				from -= TextWidth(sh.text, sh.size, sh.bold) / 2
			case Right:
				from -= TextWidth(sh.text, sh.size, sh.bold)
			}
			if end := from + TextWidth(sh.text, sh.size, sh.bold); from < 0 || end > s.Width || strings.Contains(sh.text, "  ") {
				t.Errorf("%s: %q from %.1f to %.1f of %.1f", name, sh.text, from, end, s.Width)
			}
		}
	}
	for _, want := range []string{">measured 130.5 m<", ">measured 41 m/s<", ">end of the cleared strip 220 m<"} {
		if !strings.Contains(string(measured.Speeds(286, 118).SVG()), want) {
			t.Errorf("the small picture does not say %s", want)
		}
	}
}
