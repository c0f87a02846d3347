package crashtest_test

import (
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/peer"
	"afterbeam/internal/store"
)

// mostDeaths bounds how often one report may end the process: three times as often as a failing job is tried.
const mostDeaths = 3 * store.MaxAttempts

// TestPoison sends a report whose reading ends the process, each time that it is begun, among reports that are sound. It
// ends up in quarantine after a known number of deaths, alone, and everything else goes on. A program that can read it
// then reads it.
func TestPoison(t *testing.T) {
	notQuick(t)
	peer.Need(t, "sqlite3")
	s := newSite(t)
	w := newWorld(firstSeed)
	parcels, err := w.study()
	require.NoError(t, err)
	for range 3 {
		more, err := w.study()
		require.NoError(t, err)
		parcels = append(parcels, more...)
	}
	ledger, err := openLedger(filepath.Join(s.dir, "ledger"))
	require.NoError(t, err)
	l := &load{site: s, world: w, ledger: ledger}

	// The first report is kept, by a program that cannot read anything, and turns out to be the poison.
	poison := parcels[0]
	for _, p := range parcels {
		if p.kind == dose {
			poison = p
			break
		}
	}
	p, err := s.start(fmt.Sprintf("CRASH_AT=%s:1", crashpoint.BeforeAnswer))
	require.NoError(t, err)
	require.False(t, l.post(p.address, poison))
	<-p.dead
	var instance []struct{ ID, Instance string }
	require.NoError(t, s.query(&instance, `SELECT id, sop_instance AS Instance FROM receipt`))
	require.Len(t, instance, 1)
	deadly := fmt.Sprintf("CRASH_AT=%s:1:%s", crashpoint.ReportRead, instance[0].Instance)

	deaths := 0
	acknowledged := map[string]bool{}
	for ; deaths <= 2*mostDeaths; deaths++ {
		p, err = s.start(deadly)
		if errors.Is(err, errDied) {
			continue
		}
		require.NoError(t, err)
		for _, one := range parcels {
			if !p.ended() && !acknowledged[one.digest] {
				acknowledged[one.digest] = l.post(p.address, one)
			}
		}
		select {
		case <-p.dead:
			continue
		case <-time.After(2 * time.Second):
		}
		break
	}
	t.Logf("%d deaths", deaths)
	require.False(t, p.ended(), "the process lives on in the end")
	assert.LessOrEqual(t, deaths, mostDeaths)
	for _, one := range parcels {
		require.True(t, acknowledged[one.digest] || l.post(p.address, one))
	}
	require.NoError(t, s.settled(time.Minute))
	var aside []struct{ ID, Reason string }
	require.NoError(t, s.query(&aside, `SELECT id, reason FROM receipt WHERE state = 'quarantined' AND reason LIKE 'begun%'`))
	require.Len(t, aside, 1, "the poison alone is in quarantine: %v", aside)
	assert.Equal(t, instance[0].ID, aside[0].ID)
	require.NoError(t, p.stop())

	p, err = s.start()
	require.NoError(t, err)
	require.NoError(t, ask(p.address, http.MethodPost, "/v1/quarantine/"+aside[0].ID+"/reread", s.eye, map[string]any{"reason": "a new version can read it"}, nil, http.StatusAccepted))
	require.NoError(t, s.settled(time.Minute))
	c := newChecker(s)
	kept, err := c.kept()
	require.NoError(t, err)
	require.NoError(t, kept.err())
	read, err := c.read(w)
	require.NoError(t, err)
	require.NoError(t, read.err())
	require.Empty(t, l.faults)
	require.NoError(t, ledger.file.Close())
}
