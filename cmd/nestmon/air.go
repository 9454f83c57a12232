package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"nestmon/thresholds/air"
)

var airCommand = command{
	name:  "air",
	short: "dew and frost point, absolute humidity and heat index of air",
	run:   runAir,
}

// airReport is what the command says, in the order of its JSON.
type airReport struct {
	Temperature      float64       `json:"temperature_c"`
	Humidity         float64       `json:"humidity_pct"`
	Pressure         float64       `json:"pressure_pa"`
	Saturation       float64       `json:"saturation_vapour_pressure_pa"`
	Vapour           float64       `json:"vapour_pressure_pa"`
	DewPoint         float64       `json:"dew_point_c"`
	FrostPoint       *float64      `json:"frost_point_c"`
	AbsoluteHumidity float64       `json:"absolute_humidity_g_m3"`
	HumidityRatio    float64       `json:"humidity_ratio_kg_kg"`
	THI              float64       `json:"thi_c"`
	Class            air.HeatClass `json:"thi_class"`
}

// Altitudes people live at, m: the Dead Sea to above the highest town.
const lowestPlace, highestPlace = -450.0, 6000.0

func runAir(_ context.Context, args []string, std stdio) int {
	fs := flags("air", "air --temp T --rh H [--pressure P | --altitude M] [--json]", std)
	var temp celsius
	var rh percent
	fs.Var(&temp, "temp", "air temperature: 35, 35C or 95F")
	fs.Var(&rh, "rh", "relative humidity in percent, over water at every temperature")
	pressure := fs.Float64("pressure", 0, "air pressure in Pa (default: that of the altitude)")
	altitude := fs.Float64("altitude", 0, "height above the sea in m")
	asJSON := fs.Bool("json", false, "write one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	set := given(fs)
	switch {
	case !set["temp"]:
		return wrongUse(fs, errors.New("--temp is missing; write it like --temp 35C or --temp 95F"))
	case !set["rh"]:
		return wrongUse(fs, errors.New("--rh is missing; write it in percent, like --rh 50"))
	case set["pressure"] && set["altitude"]:
		return wrongUse(fs, errors.New("--pressure and --altitude both give the pressure; write one of them"))
	case !(*altitude >= lowestPlace && *altitude <= highestPlace):
		return wrongUse(fs, fmt.Errorf("altitude %g m is outside %g to %g m; write metres above the sea", *altitude, lowestPlace, highestPlace))
	}
	if !set["pressure"] {
		*pressure = air.PressureAt(*altitude)
	}
	r, err := reportAir(temp.value, float64(rh), *pressure)
	if err != nil {
		if temp.plain && temp.value > air.MaxTemperature {
			err = fmt.Errorf("%w, or mark Fahrenheit like %gF", err, temp.value)
		}
		return wrongUse(fs, err)
	}
	if rh <= 1 {
		fmt.Fprintf(std.err, "nestmon air: taken as %g %% RH; if %g was meant as a fraction, write --rh %g\n", rh, rh, rh*100)
	}
	if *asJSON {
		err = printJSON(std.out, r)
	} else {
		err = r.print(std.out)
	}
	if err != nil {
		return wrongUse(fs, fmt.Errorf("writing the answer: %w", err))
	}
	return exitDone
}

func reportAir(tC, rh, pressure float64) (airReport, error) {
	if err := air.Check(tC, rh); err != nil {
		return airReport{}, err
	}
	if err := air.CheckPressure(tC, rh, pressure); err != nil {
		return airReport{}, err
	}
	thi := air.THI(tC, rh)
	r := airReport{
		Temperature: tC, Humidity: rh, Pressure: pressure,
		Saturation: air.SaturationPressure(tC), Vapour: air.VapourPressure(tC, rh),
		DewPoint: air.DewPoint(tC, rh), AbsoluteHumidity: air.AbsoluteHumidity(tC, rh),
		HumidityRatio: air.HumidityRatio(tC, rh, pressure), THI: thi, Class: air.Class(thi, tC),
	}
	if frost, ok := air.FrostPoint(tC, rh); ok {
		r.FrostPoint = &frost
	}
	return r, nil
}

// print writes the report for people, with no more digits than a good probe deserves. The rabbit's index is never shown in
// °F: the livestock index in °F is another one.
func (r airReport) print(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "air\t%.1f °C\t%.1f °F\t%g %% RH over water, %.0f Pa\n", r.Temperature, toFahrenheit(r.Temperature), r.Humidity, r.Pressure)
	fmt.Fprintf(w, "dew point\t%.1f °C\t%.1f °F\tover water; WMO Magnus form\n", r.DewPoint, toFahrenheit(r.DewPoint))
	if r.FrostPoint != nil {
		fmt.Fprintf(w, "frost point\t%.1f °C\t%.1f °F\tover ice; WMO Magnus form\n", *r.FrostPoint, toFahrenheit(*r.FrostPoint))
	} else {
		fmt.Fprint(w, "frost point\tnone\t\tthe dew point is above 0 °C\n")
	}
	fmt.Fprintf(w, "vapour pressure\t%.0f Pa\t\tof %.0f Pa at saturation\n", r.Vapour, r.Saturation)
	fmt.Fprintf(w, "absolute humidity\t%.2f g/m³\t\tVaisala HMT120 manual, A.7\n", r.AbsoluteHumidity)
	fmt.Fprintf(w, "humidity ratio\t%.2f g/kg\t\tper kg of dry air; ASHRAE Fundamentals 2017\n", r.HumidityRatio*1000)
	fmt.Fprintf(w, "rabbit THI\t%.1f °C\t\t%s\n", r.THI, classWords(r.Class))
	return w.Flush()
}

// classWords explains a heat class.
func classWords(c air.HeatClass) string {
	if c == air.NotClassed {
		return fmt.Sprintf("%s: the index means heat only from %g °C", c, air.ClassedFrom)
	}
	return fmt.Sprintf("%s (moderate from %g, severe %g, very severe %g; Marai, Habeeb & Gad 2002)",
		c, air.ModerateTHI, air.SevereTHI, air.VerySevereTHI)
}
