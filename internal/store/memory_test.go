package store_test

import (
	"testing"

	"duskline/internal/store"
	"duskline/internal/store/storetest"
)

func TestMemory(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Storage {
		log := store.NewMemory()
		return func() store.Log { return log }
	})
}
