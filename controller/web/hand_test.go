package web_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/weighed"
)

// scales is a Hand of one batch, by what was said to it.
type scales struct {
	*loop
	said   *[]web.Order
	photos *[]web.Photo
}

func (s scales) facts(batch string, entries []weighed.Entry) *web.Facts {
	found, err := catalog.Find("caraway-sticks")
	if err != nil {
		panic(err)
	}
	t := weighed.Of(found.Value, profile.NoJurisdiction, entries)
	f := &web.Facts{Batch: batch, Product: found.Value.Name, Sheet: &t, Yields: append([]weighed.Yield{}, t.Yields()...), Heavier: []string{}, Remedy: "STOP",
		Traits: []string{"looks", "bite"}, Marks: []web.FactMark{{Trait: "bite", Mark: 2.5}}, Photos: []web.Photo{{Name: "01.png", SHA256: "00112233445566778899", State: "MISSING"}}}
	_, f.Bad = t.Bad()
	if s.photos != nil {
		f.Photos = append(f.Photos, *s.photos...)
	}
	return f
}

func (s scales) Facts(_ context.Context, batch string) (*web.Facts, error) {
	if s.err != nil {
		return nil, s.err
	}
	if batch != "cooked" && batch != "running" {
		return nil, web.ErrNoBatch
	}
	var entries []weighed.Entry
	if s.said != nil {
		for _, o := range *s.said {
			if o.Command == web.Weigh && o.Form == "" {
				e, err := weighed.Read(o.What, o.Mass, o.Lot)
				if err != nil {
					return nil, err
				}
				entries = append(entries, e)
			}
		}
	}
	return s.facts(batch, entries), nil
}

func (s scales) Sheet(product, _, form string) (*web.Facts, error) {
	if product == "no such" {
		return nil, errors.New("there is no such product")
	}
	var entries []weighed.Entry
	if form != "" {
		found, err := catalog.Find("caraway-sticks")
		if err != nil {
			return nil, err
		}
		if entries, err = weighed.ReadForm("form", []byte(form), found.Value); err != nil {
			return nil, err
		}
	}
	return s.facts("", entries), nil
}

func (s scales) AddPhoto(_ context.Context, who, batch, text string, data []byte) (web.Kept, error) {
	switch {
	case batch != "cooked" && batch != "running":
		return web.Kept{}, web.ErrNoBatch
	case string(data) == "no photo":
		return web.Kept{}, errors.New("this is no JPEG and no PNG")
	}
	if s.photos != nil {
		*s.photos = append(*s.photos, web.Photo{Name: "02.jpg", SHA256: "ffeeddccbbaa99887766", Text: text, Who: who, State: "as taken in", Whole: true})
	}
	return web.Kept{Told: []string{"photograph 02.jpg"}}, nil
}

func (s scales) Photo(_ context.Context, batch, _ string) ([]byte, string, error) {
	if batch != "cooked" && batch != "running" {
		return nil, "", web.ErrNoBatch
	}
	return []byte("\x89PNG"), "image/png", nil
}

// crossPhoto is a photograph that another site's page sends.
func crossPhoto(r *http.Request) {
	r.Header.Set("Content-Type", "image/jpeg")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
}

// A person with wet hands and a phone: the sheet before the batch, kept over a reload and held
// against the product; each weight of the batch at its step, with what is off; a mark, a
// photograph from the phone, and nothing that is hard to hit.
func TestTheScaleOnAPhone(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	var said []web.Order
	var photos []web.Photo
	h := configured(l, func(c *web.Config) {
		c.Hand = scales{l, &said, &photos}
		c.Keep = func(_ context.Context, o *web.Order) (web.Kept, error) {
			said = append(said, *o)
			return web.Kept{Told: []string{o.What + " " + o.Mass}}, nil
		}
	})
	server := behind(t, h)
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL+"/weigh?product=caraway-sticks&meat=4%20kg"))
	until(t, ctx, "document.getElementById('ask-token').open")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	until(t, ctx, "document.querySelectorAll('#weigh-list li').length > 3")
	require.NotEqual(t, "-1", read(t, ctx, "linesOf(weighFacts).findIndex(l => l.name === 'salt')"), read(t, ctx, "document.body.innerText"))
	sheet := read(t, ctx, "linesOf(weighFacts).findIndex(l => l.name === 'salt')")
	do2(t, ctx, "document.getElementById('as-0').click()")
	typed(t, ctx, "mass-"+sheet, "150")
	typed(t, ctx, "lot-"+sheet, "S-3")
	do(t, ctx, chromedp.Reload())
	until(t, ctx, "document.getElementById('mass-"+sheet+"') !== null && document.getElementById('mass-"+sheet+"').value === '150'")
	assert.Contains(t, read(t, ctx, "draftForm()"), `"salt","","150 g","S-3"`)
	do2(t, ctx, "document.getElementById('draft-hold').click()")
	until(t, ctx, "!document.getElementById('weigh-off').hidden")
	assert.Contains(t, read(t, ctx, "document.getElementById('weigh-list').innerText"), "OFF the sheet")
	assert.Empty(t, said, "nothing is on a record yet")
	picture(t, ctx, "sheet-360")

	do(t, ctx, chromedp.Navigate(server.URL+"/weigh?batch=running"))
	until(t, ctx, "document.querySelectorAll('#moment-list li').length === 4")
	typed(t, ctx, "mass-"+sheet, "150")
	typed(t, ctx, "lot-"+sheet, "S-3")
	do2(t, ctx, "document.getElementById('keep-"+sheet+"').click()")
	until(t, ctx, "document.querySelector('#weigh-list li.off') !== null")
	hung := read(t, ctx, "linesOf(weighFacts).findIndex(l => l.name === 'hung')")
	typed(t, ctx, "mass-"+hung, "4,22")
	do2(t, ctx, "document.getElementById('keep-"+hung+"').click()")
	until(t, ctx, "document.getElementById('moment-list').innerText.includes('4.220')")
	assert.Equal(t, []string{"salt 150 g S-3 running", "hung 4.22 kg  running"}, []string{said[0].What + " " + said[0].Mass + " " + said[0].Lot + " " + said[0].Batch, said[1].What + " " + said[1].Mass + " " + said[1].Lot + " " + said[1].Batch})
	picture(t, ctx, "scale-360")
	inEverySize(t, ctx, "scale", "document.querySelectorAll('#moment-list li').length === 4")
	do2(t, ctx, "[...document.querySelectorAll('#mark-list li:first-child button')][3].click()")
	until(t, ctx, "!document.getElementById('mark-says').hidden")
	assert.Equal(t, "looks 4", said[2].What+" "+said[2].Mark)
	file := filepath.Join(t.TempDir(), "slice.png")
	assert.NoError(t, os.WriteFile(file, pngOf(t), 0o600))
	do(t, ctx, chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{file}))
	typed(t, ctx, "photo-text", "a slice")
	do2(t, ctx, "document.getElementById('photo-form').requestSubmit()")
	until(t, ctx, "document.querySelectorAll('#photo-list li').length === 2")
	assert.Equal(t, "a slice", photos[0].Text)
	assert.Contains(t, read(t, ctx, "document.getElementById('photo-list').innerText"), "01.png is missing or was changed")
	assert.Equal(t, "true", read(t, ctx, "document.documentElement.scrollWidth <= document.documentElement.clientWidth"))
	assert.Equal(t, "[]", read(t, ctx, "JSON.stringify([...document.querySelectorAll('main button, main input, main select')].filter(e => e.offsetParent && (e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.id))"))
	picture(t, ctx, "marks-360")
	findsNothing(t, ctx, "weights and marks")
}

func pngOf(t *testing.T) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30))))
	return b.Bytes()
}

// typed puts a text into a field, as a keyboard does.
func typed(t *testing.T, ctx context.Context, id, text string) {
	t.Helper()
	do2(t, ctx, fmt.Sprintf("const e = document.getElementById(%q); e.value = %q; e.dispatchEvent(new Event('input'))", id, text))
}
