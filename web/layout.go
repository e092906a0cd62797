package web

// Frame is what surrounds every page of a job.
type Frame struct {
	Title      string // of the document; "Duskline" is added
	Job        string // the job's name
	JobURL     string // where the name leads; may be empty
	Nav        []NavLink
	Saved      string // "Saved here 10:51 · 14 not sent, oldest 7:40 · no signal"
	Writer     string // who is writing: "R. Example, foreman"
	WriterURL  string // where somebody else is picked; may be empty
	Invented   bool   // the job is made up: marked on every page and on paper
	SkewMillis int64  // to add to the device's clock, milliseconds
	Form       bool   // the page is a form
	Clocks     bool   // the page has running clocks or a day line that moves
	Thumb      []Action
	Aboard     bool   // the page belongs to a tablet, or may be taken on board one
	Exchange   string // on a tablet: where the page asks to exchange with the office
	TakeAboard string // the job that can be taken on board from here; "" none
}

// NavLink leads to a page of the job.
type NavLink struct {
	Label   string
	URL     string
	Current bool
}

// pageTitle is the document's title.
func (f Frame) pageTitle() string {
	t := f.Title
	if f.Job != "" {
		t += " - " + f.Job
	}
	return t + " - Duskline"
}
