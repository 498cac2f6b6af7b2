package canning_test

import (
	"errors"
	"fmt"

	"stillroom/internal/canning"
	"stillroom/internal/measure"
	"stillroom/internal/reference"
)

func ExampleTable_LookUp() {
	altitude, _ := measure.ParseAltitude("5,280 ft")
	process, err := canning.Published().LookUp(canning.Request{
		ProductKey: "crushed_tomatoes", Pack: reference.HotPack, Jar: canning.ML500, Method: canning.BoilingWater, Altitude: altitude,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, choice := range process.Choices {
		fmt.Println(choice, "with", choice.Headspace, "of headspace")
	}
	for _, note := range process.Notes {
		fmt.Println(note.Text, "-", note.Source)
	}
	// Output:
	// 45 min with 1/2 in of headspace
	// A 500 ml jar is processed as a pint jar. - common practice
}

func ExampleRefusal() {
	altitude, _ := measure.ParseAltitude("8,200 ft")
	_, err := canning.Published().LookUp(canning.Request{
		ProductKey: "green_beans", Pack: reference.RawPack, Jar: canning.Pint, Method: canning.PressureDial, Altitude: altitude,
	})
	var refusal *canning.Refusal
	if errors.As(err, &refusal) {
		fmt.Println(refusal.Field, refusal.Value)
		fmt.Println(refusal.Reason)
		fmt.Println(refusal.Has)
	}
	// Output:
	// altitude 2,499.4 m (8,200 ft)
	// the table of Beans, snap and Italian, pieces (green and wax) by pressure, dial gauge ends at 8,000 ft
	// [0-2,000 ft 2,001-4,000 ft 4,001-6,000 ft 6,001-8,000 ft]
}

func ExampleCanner_FromPhysics() {
	canner := canning.Canner{
		Methods: []canning.Method{canning.BoilingWater},
		Racks:   []canning.RackSpace{{Jar: canning.Quart, Jars: 7}},
		Vessel:  canning.StandardVessel(),
		Burner:  canning.Burner{Kind: canning.ElectricBurner, Rated: 1750},
	}
	estimate, err := canner.FromPhysics(canning.HeatLoad{Method: canning.BoilingWater, Jar: canning.Quart, Pack: reference.HotPack})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(estimate.Minutes(7), estimate.Basis)
	// Output:
	// 23 min from physics
}
