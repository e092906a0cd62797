package daylog

import "fmt"

// WeatherReading is one look at the instruments. Zero humidity says that it
// was not read.
type WeatherReading struct {
	Air      *float64 `json:"air,omitempty"`   // F
	Humidity *float64 `json:"rh,omitempty"`    // %
	Sheet    *float64 `json:"sheet,omitempty"` // F, in the lap
	Wind     *float64 `json:"wind,omitempty"`  // mph
	Gust     *float64 `json:"gust,omitempty"`  // mph
	Sky      string   `json:"sky,omitempty"`
	Liquids  *float64 `json:"liquids,omitempty"` // F, primer, adhesive and sealant at use
	On       string   `json:"on,omitempty"`      // the sheet: "dew", "frost"; "" dry, or not looked
}

var weatherKind = Kind{
	Name: "weather", Title: "Weather", Group: Beginning, Writes: Crew,
	Script: []string{"weather; air {air}; humidity {rh}; sheet {sheet}; wind {wind}; gusts/gust {gust}; sky {sky}; liquids at {liquids}; on the sheet {on}"},
	New:    func() Body { return new(WeatherReading) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "air", Label: "Air", Type: Temp, Unit: "F", Min: -40, Max: 130},
			{Name: "rh", Label: "Humidity", Type: Number, Unit: "%", Min: 1, Max: 100},
			{Name: "sheet", Label: "Sheet, in the lap", Type: Temp, Unit: "F", Min: -40, Max: 200},
			{Name: "wind", Label: "Wind", Type: Number, Unit: "mph", Min: 0, Max: 100},
			{Name: "gust", Label: "Gusts", Type: Number, Unit: "mph", Min: 0, Max: 120},
			{Name: "sky", Label: "Sky", Type: Text},
			{Name: "liquids", Label: "Primer and sealant, at use", Type: Temp, Unit: "F", Min: 0, Max: 130},
			{Name: "on", Label: "On the sheet", Type: Choice, Options: options("dew", "frost")},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		w := b.(*WeatherReading)
		if w.Air == nil && w.Humidity == nil && w.Sheet == nil && w.Wind == nil && w.Gust == nil && w.Sky == "" && w.Liquids == nil && w.On == "" {
			return []Problem{{Field: "air", Says: "Nothing was read. Enter at least one reading."}}
		}
		if w.Wind != nil && w.Gust != nil && *w.Gust < *w.Wind {
			return []Problem{{Field: "gust", Says: "Gusts are lower than the wind. Are the two swapped?"}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		w := b.(*WeatherReading)
		var parts []string
		add := func(v *float64, form string) {
			if v != nil {
				parts = append(parts, fmt.Sprintf(form, number(*v)))
			}
		}
		add(w.Air, "air %s F")
		add(w.Humidity, "humidity %s %%")
		add(w.Sheet, "sheet %s F")
		add(w.Wind, "wind %s mph")
		add(w.Gust, "gusts %s mph")
		add(w.Liquids, "liquids %s F")
		if w.Sky != "" {
			parts = append(parts, w.Sky)
		}
		if w.On != "" {
			parts = append(parts, w.On+" on the sheet")
		}
		return List(parts)
	},
}

func (*WeatherReading) kind() *Kind { return &weatherKind }

func (b *WeatherReading) apply(d *Day, l *Line) {
	d.Weather = append(d.Weather, WeatherLine{l.Began(), b, l.Root})
	if b.On != "" {
		d.Roof.wet(l, b.On)
	}
}
