// Package script is the text form of a day: one line, one act, in the words of
// the trade. Examples of rules, the worked days, the demo, the browser's day
// and benchmarks are written in it. It reads like this:
//
//	(Roof, crew and work are invented.)
//	job "Invented hall" in America/Chicago, leaving 15:30, pack-up 20 min, invented
//	person ada "Ada Invented", foreman
//	roof 97 ft north-south by 195 ft 9 in east-west, parapets, turn-up 18 in
//	row of panels 1 to 4 of 50 ft, 100 ft long, laps 5 in
//	standing panels 1 and 2, strip of 4 ft on 2, weighted
//
//	day 2026-10-06, Tuesday
//	07:15 start
//	07:15 weather air 52, humidity 60, sheet 46
//	10:36 panel 3 in position, edges weighted
//	11:12 priming 2|3 4.5 to 50 ft, by ada
//	11:24 finger test 2|3 4.5 to 50 ft passes
//	11:45 run 2|3 4.5 to 50 ft closed, end lap at 41 ft of 1 1/2 in
//	12:10-12:30 covers rolled on 2|3 at 41 ft, south and north
//	15:05 treated 2|3 at 41 ft
//	15:06 strike 15:05 treated, because too early
//
//	@07:15-15:04 nothing
//	@15:05 accuses edge-early on 2|3 at 41 ft
//	@15:06 gone edge-early
//
//	variant "no finger test"
//	drop 11:24 finger test
//	@11:45 accuses flash-unproved on 2|3 4.5 to 50 ft
//
// # Lines
//
// An empty line and a line in round brackets say nothing. Words are as they
// stand here, in small letters; a text of several words may stand in quotes,
// and must where it would be taken for something else. Behind the act stand
// clauses, each behind a comma or "and", in any order. Lengths are in feet
// where no unit is said: 4.5, 4 ft 6 in, 1 1/2 in.
//
// What a line leaves out is what the form offers: "start" leaves at the job's
// usual hour. Only ticks and lists of panels are never offered: an edge is
// weighted, an old strip filled, if the line says so. A seam alone is all of it.
//
// # Set-up
//
// Lines above the first day set up the job; the office writes them, and every
// tablet has them on board. The same lines below a day hold from that day on.
//
//	roof outline east 100 ft, north 60 ft, west 40 ft, north 37 ft, west 60 ft
//	side 3 named "high wall", wall, turn-up 24 in
//	row of panels 1 to 10 of 20 ft and 11 of 2 ft 11 in, 100 ft long, laps 5 in, toward east, from 0 ft east and 95 ft north
//	placed 12 of 10 ft by 40 ft, from 0 ft east and 95 ft north, along east
//	limit edge-early.wait_min 300
//
// An outline starts at the south-west corner and walks around the roof; sides
// are counted in that order. A row without "from" starts on the turn-ups of
// that corner.
//
// # Times
//
//	11:12 ...          when it happened, tapped then and there
//	11:25-11:45 ...    from one time to another, written at its end
//	about 09:05 ...    picked or typed: 15 min off either way
//	..., within 30 min how far the time may be off
//	..., written 12:30 written down later, so the time is about 15 min off
//	..., to the minute but not this one
//
// Before 04:00 a time belongs to the night after the day. An indented line is
// written with the line above it, in one form.
//
// # Places
//
//	4|5 at 52 ft, south and north       an end lap, the two angle changes
//	splices 4|5 south and north         vertical splices; until "covers"
//	7|8|12                              a T-joint
//	panel 5 from 0 to 60 ft, panel 6 less 4 ft strip
//	edges 5@north and 5@south           where panel 5 meets sides of the roof
//
// Names that are not on the plan are an error, unless the line says "as
// written".
//
// # Strikes and corrections
//
// A line is named by its time and first words, one of an earlier day by its
// date before them.
//
//	15:06 strike 15:05 treated, because too early
//	12:35 correct 10:36 panel 3 to read 10:20 panel 3 in position, because wrong clock
//
// # Several tablets
//
// Lines are written on tablet a unless a heading or the line says otherwise.
// Where no line says who hears whom, all hold everything at once.
//
//	tablet b with bo
//	11:12 priming 2|3 0 to 50 ft
//	11:30 finger test 2|3 0 to 50 ft passes, on tablet a
//	12:00 b and office hear each other
//
// # Moments
//
//	@10:12 accuses relax-short on panel 6, saying "20 min"
//	@10:12 asks flash-unproved on 4|5 0 to 50 ft, among others
//	@10:20 gone relax-short
//	@12:00 silent run-open, cover-owed and panel-bare
//	@12:00 tablet b accuses edge-early on 4|5 south
//	@15:08 leaving set aside edge-open on 2|3 at 41 ft
//	@07:00-15:00 nothing
//	@all day nothing
//
// What accuses and asks at a moment is all that stands there, unless a line
// says "among others". A moment that only says gone, silent or set aside says
// nothing of other rules. "leaving" is with the list of what must be done before leaving
// open. A span stands for each time at which something is written, and for
// every five minutes.
//
// # Variants
//
// A variant is the same days with some lines changed, and with moments of its
// own.
//
//	variant "panel 5 in position at 09:05"
//	move 08:30 panel 5 to 09:05
//	drop 10:16 finger test
//	change 10:28 run 4|5 to read 10:28 run 4|5 0 to 40 ft closed
//	add 10:30 note rain
//	@09:50 accuses relax-short on panel 5
//
// # Three ways to write a day
//
// One text gives all three: live; in batches at 09:30, at 12:30 and at
// quitting time, 20 min before tools down, with about-times; and all at
// quitting time. "batches at 10:00 and 13:00" says other moments. In the last
// two, moments are read right after each batch: what stands there live may
// ask, and nothing else may speak.
//
// # Kinds
//
// The sentence of each kind stands in its own file in package daylog, as
// Kind.Script:
//
//	"panel {panel} in position; edges weighted {weighted}"
//	"finger test {seam} [{from} to {to}] passes {result=pass}"
//	"temporary ballast on; strip/strips of {strips}; seam/seams {seams}"
//
// Semicolons part the head from the clauses. {panel} is the field of that name
// in the kind's Fields and is read by its type; {file:word} is a field
// that Fields does not list, with the type of its slot; {result=pass} is what
// the words before it stand for. A tick takes no words of its own. Part of the
// head in square brackets may be left out, and of strip/strips either word may
// stand. A kind with several sentences lists them all. One without any, and
// any other, is written by its fields or as JSON:
//
//	11:24 other test, seam 2|3, from 0 ft, to 50 ft, result pass
//	11:24 other hologram as {"glow": true}
package script
