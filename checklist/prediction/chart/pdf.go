package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// pdf is the scene as one page of PDF, drawn with paths and an embedded face.
// The document's dates are fixed, so that the same chart gives the same bytes.
func (s *scene) pdf() ([]byte, error) {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: s.width, Ht: s.height}})
	doc.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetTitle(s.title, true)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("go", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	doc.AddPage()
	doc.SetLineJoinStyle("round")
	for _, sh := range s.shapes {
		if sh.text != "" {
			pdfText(doc, sh)
		} else {
			pdfPath(doc, sh)
		}
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return nil, fmt.Errorf("chart: pdf: %w", err)
	}
	return b.Bytes(), nil
}

func pdfPath(doc *fpdf.Fpdf, sh shape) {
	alpha := 1.0
	if sh.fill != nil {
		n := color.NRGBAModel.Convert(sh.fill).(color.NRGBA)
		doc.SetFillColor(int(n.R), int(n.G), int(n.B))
		alpha = float64(n.A) / 255
	}
	doc.SetAlpha(alpha, "Normal")
	style := "F"
	if sh.stroke != nil {
		n := color.NRGBAModel.Convert(sh.stroke).(color.NRGBA)
		doc.SetDrawColor(int(n.R), int(n.G), int(n.B))
		doc.SetLineWidth(sh.width)
		doc.SetDashPattern(sh.dash, 0)
		style = "D"
		if sh.fill != nil {
			style = "FD"
		}
	}
	for i, p := range sh.points {
		if i == 0 {
			doc.MoveTo(p.x, p.y)
		} else {
			doc.LineTo(p.x, p.y)
		}
	}
	if sh.closed {
		doc.ClosePath()
	}
	doc.DrawPath(style)
}

func pdfText(doc *fpdf.Fpdf, sh shape) {
	style := ""
	if sh.bold {
		style = "B"
	}
	doc.SetFont("go", style, sh.size)
	n := color.NRGBAModel.Convert(sh.stroke).(color.NRGBA)
	doc.SetTextColor(int(n.R), int(n.G), int(n.B))
	doc.SetAlpha(1, "Normal")
	x := sh.at.x
	switch sh.anchor {
	case middle:
		x -= doc.GetStringWidth(sh.text) / 2
	case right:
		x -= doc.GetStringWidth(sh.text)
	}
	doc.Text(x, sh.at.y, sh.text)
}
