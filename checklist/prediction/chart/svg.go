package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"strconv"
	"strings"
)

// SVG is the scene as an SVG 1.1 document (W3C Recommendation, second
// edition), sized in points.
func (s *Scene) SVG() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="%spt" height="%spt" viewBox="0 0 %s %s" font-family="Go, Helvetica, Arial, sans-serif">
<title>%s</title>
<rect width="%s" height="%s" fill="#ffffff"/>
`, number(s.Width), number(s.Height), number(s.Width), number(s.Height), escape(s.title), number(s.Width), number(s.Height))
	for _, sh := range s.shapes {
		if sh.text != "" {
			svgText(&b, sh)
		} else {
			svgPath(&b, sh)
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func svgPath(b *bytes.Buffer, sh shape) {
	b.WriteString(`<path d="`)
	for i, p := range sh.points {
		command := "L"
		if i == 0 {
			command = "M"
		}
		b.WriteString(command + number(p.X) + " " + number(p.Y))
	}
	if sh.closed {
		b.WriteString("Z")
	}
	b.WriteString(`" ` + paint("fill", sh.fill))
	if sh.stroke != nil {
		fmt.Fprintf(b, ` %s stroke-width="%s" stroke-linejoin="round"`, paint("stroke", sh.stroke), number(sh.width))
	}
	if len(sh.dash) > 0 {
		lengths := make([]string, len(sh.dash))
		for i, d := range sh.dash {
			lengths[i] = number(d)
		}
		fmt.Fprintf(b, ` stroke-dasharray="%s"`, strings.Join(lengths, " "))
	}
	b.WriteString("/>\n")
}

func svgText(b *bytes.Buffer, sh shape) {
	weight := ""
	if sh.bold {
		weight = ` font-weight="bold"`
	}
	place := map[Anchor]string{Left: "start", Middle: "middle", Right: "end"}[sh.anchor]
	// The reader may not have this face: the text takes the same room in another.
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" textLength="%s" lengthAdjust="spacingAndGlyphs" %s%s>%s</text>`+"\n",
		number(sh.at.X), number(sh.at.Y), number(sh.size), place, number(TextWidth(sh.text, sh.size, sh.bold)), paint("fill", sh.stroke), weight,
		escape(sh.text))
}

// number is a length with a hundredth of a Point, without spare zeros.
func number(v float64) string {
	text := strconv.FormatFloat(v, 'f', 2, 64)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

// paint is the attributes of a colour, for what a shape is filled or drawn with.
func paint(what string, c color.Color) string {
	if c == nil {
		return what + `="none"`
	}
	n := color.NRGBAModel.Convert(c).(color.NRGBA)
	text := fmt.Sprintf(`%s="#%02x%02x%02x"`, what, n.R, n.G, n.B)
	if n.A < 255 {
		text += fmt.Sprintf(` %s-opacity="%s"`, what, number(float64(n.A)/255))
	}
	return text
}

func escape(text string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(text)); err != nil {
		panic("chart: internal error: " + err.Error()) // a bytes.Buffer does not fail
	}
	return b.String()
}
