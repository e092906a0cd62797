package roofplan

// ZoneAreas are the ballast zones of a rectangular roof, in sq ft to 0.1.
type ZoneAreas struct {
	Width                    Length // of the corner and perimeter zones
	Corner, Perimeter, Field float64
}

// zoneFloor is the least width of the corner and perimeter zones, whatever the
// height of the building (ANSI/SPRI RP-4: published, from memory).
var zoneFloor = Feet(8.5)

// Zones divides a rectangular roof of a building of the given height: 40 % of
// the height wide, not under 8.5 ft (ANSI/SPRI RP-4: published, from memory).
// A roof no wider than twice that has no field.
func Zones(roof Rect, height Length) ZoneAreas {
	b := boxOf(roof)
	w, h := float64(max(b.x1-b.x0, 0)), float64(max(b.y1-b.y0, 0))
	width := max(zoneFloor, Inches(float64(height)*0.4))
	a := float64(units(width))
	corner := 4 * min(a, w/2) * min(a, h/2)
	field := max(w-2*a, 0) * max(h-2*a, 0)
	perimeter := float64(w*h) - corner - field
	return ZoneAreas{Width: width, Corner: squareFeet(corner), Perimeter: squareFeet(perimeter), Field: squareFeet(field)}
}
