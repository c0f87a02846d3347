package crashtest_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/peer"
)

// firstSeed is the seed of the first round; each round has the next.
const firstSeed = 20261125

// extent says how much is done.
type extent struct {
	repeats int // kills at each named step through each set of doors
	random  int // kills at random times
	rounds  int // over how many stores each of the two is spread
	faults  int // how far the number of the call that fails goes
	levels  int // amounts of space at which a disk is full
}

func howMuch(t *testing.T) extent {
	t.Helper()
	wanted := os.Getenv("AFTERBEAM_CRASH")
	if ci := os.Getenv("CI"); wanted == "" && (ci == "1" || ci == "true") {
		wanted = "slice"
	}
	switch wanted {
	case "full": // (12 steps x 4 sets of doors + 7 steps of the DICOM network) x 67 = 3,685, and 4,020
		return extent{repeats: 67, random: 4020, rounds: 67, faults: 30, levels: 20}
	case "slice":
		return extent{repeats: 1, random: 20, rounds: 1, faults: 5, levels: 4}
	case "", "quick":
		return extent{random: 2, rounds: 1}
	}
	require.FailNow(t, "AFTERBEAM_CRASH wants quick, slice or full")
	return extent{}
}

// notQuick skips a test that takes too long for a quick run.
func notQuick(t *testing.T) extent {
	t.Helper()
	e := howMuch(t)
	if e.repeats == 0 {
		t.Skip("not part of the quick run: AFTERBEAM_CRASH=slice does it")
	}
	return e
}

// kill is one kill of a round.
type kill struct {
	step     crashpoint.Step // "" for a random time
	nth      int
	subject  string
	through  doors
	after    time.Duration
	starting bool // at a random time of the start
	stopping bool // after it was told to stop
}

func (k kill) String() string {
	if k.step != "" {
		return fmt.Sprintf("%s:%d:%s through %+v", k.step, k.nth, k.subject, k.through)
	}
	return fmt.Sprintf("after %v, while starting %t, while stopping %t", k.after, k.starting, k.stopping)
}

// perStep says how often a step may be passed before it kills. Commits are more frequent than reports.
func perStep(step crashpoint.Step, rng *rand.Rand) int {
	if step == crashpoint.BeforeCommit || step == crashpoint.AfterCommit {
		return 1 + rng.IntN(30)
	}
	return 1 + rng.IntN(6)
}

// namedKills gives the kills of one round at every step, through each set of doors, in the order of chance.
func namedKills(repeats int, rng *rand.Rand) []kill {
	var list []kill
	for range repeats {
		for _, step := range crashpoint.Steps() {
			for _, through := range []doors{{http: true}, {folder: true}, {dicom: true}, every()} {
				list = append(list, kill{step: step, through: through, nth: perStep(step, rng)})
			}
		}
		for _, step := range crashpoint.NetworkSteps() {
			subjects := []string{""}
			if step == crashpoint.DataArrived { // a quarter, half, three quarters, nearly all; see pieces
				subjects = []string{"1", "2", "3", "4"}
			}
			for _, subject := range subjects {
				list = append(list, kill{step: step, through: doors{dicom: true}, subject: subject, nth: perStep(step, rng)})
			}
		}
	}
	for i := range list {
		if list[i].through == (doors{folder: true}) {
			list[i].nth = 1 + (list[i].nth-1)/2
		}
	}
	rng.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	return list
}

// randomKills gives kills at random times: most under load, some during the start and some during an orderly stop.
func randomKills(n int, rng *rand.Rand) []kill {
	list := make([]kill, n)
	for i := range list {
		k := kill{through: every(), after: time.Duration(rng.Int64N(int64(400 * time.Millisecond)))}
		switch rng.IntN(10) {
		case 0, 1:
			k.starting = true
			k.after /= 4
		case 2:
			k.stopping = true
		}
		list[i] = k
	}
	return list
}

// TestKilled kills the service at each named step and at random, starts it again, and holds the ledger of the senders
// against the store after every kill; in the end also the totals against the truth, the interface against both, and the
// whole state against that of a service which was never killed.
func TestKilled(t *testing.T) {
	peer.Need(t, "sqlite3")
	extent := howMuch(t)
	total := 0
	for round := range extent.rounds {
		rng := rand.New(rand.NewPCG(firstSeed, uint64(round)))
		s := newSite(t)
		var kills []kill
		if extent.repeats == 0 { // some steps are enough
			kills = namedKills(1, rng)[:10]
		} else {
			kills = namedKills(extent.repeats/extent.rounds, rng)
		}
		kills = append(kills, randomKills(extent.random/extent.rounds, rng)...)
		t.Run(fmt.Sprintf("round %d", round), func(t *testing.T) {
			r := &killing{site: s, world: newWorld(firstSeed + uint64(round)), checker: newChecker(s), seed: firstSeed + uint64(round)}
			r.run(t, kills)
			total += r.killed
		})
	}
	if t.Failed() {
		return
	}
	t.Logf("%d kills, seeds %d to %d; with no loss in N kills the chance of a loss in one lies below 3/N = %.1e (95 %%), and not at 0",
		total, firstSeed, firstSeed+extent.rounds-1, 3/float64(total))
}

// killing is one round of kills on one store.
type killing struct {
	site    *site
	world   *world
	checker *checker
	load    *load
	seed    uint64
	killed  int
}

func (r *killing) run(t *testing.T, kills []kill) {
	var err error
	r.load, err = newLoad(r.site, r.world)
	require.NoError(t, err)
	for i, k := range kills {
		require.NoError(t, r.once(k), "kill %d of seed %d: %v", i, r.seed, k)
		require.Empty(t, r.load.faults, "kill %d of seed %d: %v", i, r.seed, k)
	}
	p, err := r.site.start()
	require.NoError(t, err)
	r.finish(t, p)
	assert.Empty(t, r.load.faults)
	t.Logf("seed %d: %d kills, %d answers for %d objects of %d studies, slowest start %v, slowest ready after it %v", r.seed, r.killed,
		r.load.answers, len(r.world.parcels), r.world.studies, r.site.startMax.Round(time.Millisecond), r.site.readyMax.Round(time.Millisecond))
	killed, err := r.site.state()
	require.NoError(t, err)
	require.NoError(t, p.stop())
	r.undisturbed(t, killed)
}

// once starts the service with load and has it killed; then it compares ledger and store with the next start under way.
func (r *killing) once(k kill) error {
	r.load.through(k.through)
	var environ []string
	if k.step != "" {
		environ = append(environ, fmt.Sprintf("%s=%s:%d:%s", "CRASH_AT", k.step, k.nth, k.subject))
	}
	if k.starting {
		p, _, err := r.site.launch(environ...)
		if err != nil {
			return err
		}
		time.Sleep(k.after)
		p.kill()
		return r.outcome(p, k)
	}
	p, err := r.site.start(environ...)
	if err != nil && !(errors.Is(err, errDied) && k.step != "" && p.killed()) {
		return fmt.Errorf("%w:\n%s", err, p.err.String())
	}
	if err == nil {
		if err := r.under(p, k); err != nil {
			return err
		}
	}
	return r.outcome(p, k)
}

// outcome counts the kills and refuses any other end.
func (r *killing) outcome(p *process, k kill) error {
	switch {
	case p.killed():
		r.killed++
	case k.stopping && p.state.Success(): // the orderly stop was faster
	default:
		return fmt.Errorf("it ended with %v instead of a kill:\n%s", p.state, p.err.String())
	}
	return nil
}

// unreached is how long a step may take to be reached under load.
const unreached = 20 * time.Second

func (r *killing) under(p *process, k kill) error {
	defer r.load.serve(reached{})
	if k.step == "" {
		if err := r.site.ready(p); err != nil {
			return err
		}
	}
	r.load.serve(reached{p.address, p.dicom})
	// What was acknowledged before the last kill must be there now, under load as well.
	verdict, err := r.checker.kept()
	if err != nil && k.step == "" || err == nil && verdict.err() != nil {
		return errors.Join(err, verdict.err())
	}
	if k.step != "" {
		select {
		case <-p.dead:
			return nil
		case <-time.After(unreached):
			p.kill()
			return fmt.Errorf("the step was not reached within %v:\n%s", unreached, tail(p.err.String()))
		}
	}
	time.Sleep(k.after)
	if k.stopping {
		if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			return err
		}
		time.Sleep(k.after / 10)
	}
	p.kill()
	return nil
}

func tail(text string) string { return text[max(0, len(text)-4000):] }

// finish has everything sent, read and assessed, and compares all.
func (r *killing) finish(t *testing.T, p *process) {
	t.Helper()
	require.NoError(t, r.site.ready(p))
	r.load.serve(reached{p.address, p.dicom})
	require.NoError(t, r.load.drain(2*time.Minute), "seed %d", r.seed)
	require.NoError(t, r.site.settled(2*time.Minute), "seed %d", r.seed)
	r.absolve(t)
	kept, err := r.checker.kept()
	require.NoError(t, err)
	assert.NoError(t, kept.err(), "seed %d", r.seed)
	read, err := r.checker.read(r.world)
	require.NoError(t, err)
	assert.NoError(t, read.err(), "seed %d", r.seed)
	assert.NoError(t, r.checker.over(p, r.world), "seed %d", r.seed)
	for _, check := range [][]string{{"verify"}, {"audit", "verify"}} {
		text, err := r.site.command(check...)
		assert.NoError(t, err, "afterbeam %s: %s", strings.Join(check, " "), text)
	}
}

// absolve does what an administrator does after crashes that were no job's fault: a job that was under way at so many ends
// of the process was set aside, and a person's word has it done. One that failed for any other reason is a fault.
func (r *killing) absolve(t *testing.T) {
	t.Helper()
	var failed []struct{ Error string }
	require.NoError(t, r.site.query(&failed, `SELECT error FROM job WHERE state = 'failed'`))
	if len(failed) == 0 {
		return
	}
	for _, one := range failed {
		require.Contains(t, one.Error, "each time the program ended before it was done", "seed %d", r.seed)
	}
	text, err := r.site.command("redo", "failed", "--reason", "the kills are over")
	require.NoError(t, err, text)
	t.Logf("seed %d: %d jobs were set aside by the kills and done on a person's word", r.seed, len(failed))
	require.NoError(t, r.site.settled(2*time.Minute), "seed %d", r.seed)
}

// settled waits until no job is due.
func (s *site) settled(within time.Duration) error {
	var rows []struct{ N int }
	for begin := time.Now(); time.Since(begin) < within; time.Sleep(50 * time.Millisecond) {
		err := s.query(&rows, `SELECT COUNT(*) AS n FROM job WHERE state = 'leased' OR state = 'ready' AND due_at <= strftime('%Y-%m-%dT%H:%M:%f', 'now', '+1 minute')`)
		if err != nil {
			return err
		}
		if rows[0].N == 0 {
			return nil
		}
	}
	return fmt.Errorf("%d jobs are left after %v", rows[0].N, within)
}

// undisturbed sends the same once more to a service that is not killed, in another order, and compares the outcome.
func (r *killing) undisturbed(t *testing.T, killed string) {
	t.Helper()
	s := newSite(t)
	p, err := s.start()
	require.NoError(t, err)
	parcels := slices.Clone(r.world.parcels)
	rng := rand.New(rand.NewPCG(r.seed, 1))
	rng.Shuffle(len(parcels), func(i, j int) { parcels[i], parcels[j] = parcels[j], parcels[i] })
	for _, one := range parcels {
		status, text, err := call(p.address, http.MethodPost, "/v1/reports", s.door, "application/dicom", one.raw)
		require.NoError(t, err)
		require.Contains(t, map[kind][]int{dose: {201}, odd: {202}, junk: {400}}[one.kind], status, "%s", text)
	}
	require.NoError(t, s.settled(2*time.Minute))
	whole, err := s.state()
	require.NoError(t, err)
	require.NoError(t, p.stop())
	assert.Empty(t, missing(whole, killed), "only in the state without kills, seed %d", r.seed)
	assert.Empty(t, missing(killed, whole), "only in the state with kills, seed %d", r.seed)
}

// missing gives the lines of one text that another has not.
func missing(text, other string) []string {
	known := map[string]bool{}
	for _, l := range strings.Split(other, "\n") {
		known[l] = true
	}
	return slices.DeleteFunc(strings.Split(text, "\n"), func(l string) bool { return known[l] })
}
