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

// PDF writes scenes as the pages of one document, with paths and an embedded
// face. The document's dates are fixed, so that the same pages give the same
// bytes.
func PDF(title string, pages ...*Scene) ([]byte, error) {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt"})
	doc.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetTitle(title, true)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("go", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	doc.SetLineJoinStyle("round")
	for _, page := range pages {
		doc.AddPageFormat("", fpdf.SizeType{Wd: page.Width, Ht: page.Height})
		for _, sh := range page.shapes {
			if sh.text != "" {
				pdfText(doc, sh)
			} else {
				pdfPath(doc, sh)
			}
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
			doc.MoveTo(p.X, p.Y)
		} else {
			doc.LineTo(p.X, p.Y)
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
	x := sh.at.X
	switch sh.anchor {
	case Middle:
		x -= doc.GetStringWidth(sh.text) / 2
	case Right:
		x -= doc.GetStringWidth(sh.text)
	}
	doc.Text(x, sh.at.Y, sh.text)
}
