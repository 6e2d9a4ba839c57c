package jig_test

import (
	"fmt"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
)

// A slim body on thin braid, fished quartering in 12 feet of water that runs
// 1.9 ft/s at the surface, at 3 degC.
func ExampleLightest() {
	rig, err := jig.ParseRig("slim", "braid-0.14", "", "quartering")
	if err != nil {
		fmt.Println(err)
		return
	}
	st := jig.Station{
		DepthM:    12 * coldseam.MetrePerFoot,
		SurfaceMS: 1.9 * coldseam.MetrePerFoot,
		Water:     jig.WaterAt(3),
	}
	kg, ok := jig.Lightest(rig, st)
	oz, _ := jig.SizeFor(kg)
	fmt.Printf("holds: %v, %.1f g, the next trade size is %s oz\n", ok, 1000*kg, coldseam.OzName(oz))
	// Output:
	// holds: true, 5.8 g, the next trade size is 1/4 oz
}
