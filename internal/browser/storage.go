package browser

import (
	"context"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"
)

// Clear empties the browser's storage for an origin, as a browser does that is
// short of room, or a person who clears its data. What is cleared is named as
// in DevTools, with commas: "indexeddb,cache_storage", or "all".
func (p *Page) Clear(origin, what string) {
	p.t.Helper()
	p.run("clearing the storage", func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, storage.ClearDataForOrigin, storage.ClearDataForOriginParams{Origin: origin, StorageTypes: what})
		return err
	})
}

// Room sets how many bytes an origin may keep; negative: as many as the browser
// gives. It holds until the page is closed.
func (p *Page) Room(origin string, bytes float64) {
	p.t.Helper()
	p.run("setting the quota", func(ctx context.Context) error {
		quota := storage.OverrideQuotaForOriginParams{Origin: origin}
		if bytes >= 0 {
			quota.QuotaSize = &bytes
		}
		_, err := chromedp.Call(ctx, storage.OverrideQuotaForOrigin, quota)
		return err
	})
}

// Before has a script run in each page that is opened from now on, before any
// of its own.
func (p *Page) Before(script string) {
	p.t.Helper()
	p.run("adding a script", func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	})
}
