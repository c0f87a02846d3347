package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
	"afterbeam/internal/store/invented"
)

// fullMeasure tells whether the benchmarks of the whole service run at the size that the goals are set for, or at one
// that only shows that they work. The former is what `make bench` asks for.
func fullMeasure() bool { return os.Getenv("AFTERBEAM_BENCH") == "full" }

func sized(full, slice int) int {
	if fullMeasure() {
		return full
	}
	return slice
}

// BenchmarkPatientDose asks the assembled service for patients' cumulative dose over loopback connections that are kept
// open. The store holds 100,000 procedures, see package invented. The goals are a 99th percentile under 20 ms, and 0.15
// of the rate of a bare greeting of the same echo behind the same server, asked for by the same callers.
//
// One iteration is a round of each. "Any patient" is one of five years, whose answer is made anew; physicists ask for those
// treated lately, some of them again and again, whose answers are remembered: four weeks hold 1,533 procedures. The view of
// every answer is durable before the answer: the rate of a single caller
// is that of the disk's fsync, and only callers at once show the rate of the service.
func BenchmarkPatientDose(b *testing.B) {
	site := openSite(b, sized(100_000, 2_000))
	requests := sized(2_000, 100)
	for _, asked := range []struct {
		name     string
		patients []string
		callers  []int
	}{
		{"any patient", site.patients, []int{1, 8, 64}},
		{"patients of four weeks", site.recent, []int{8, 64}},
	} {
		for _, callers := range asked.callers {
			b.Run(fmt.Sprintf("%s, %d callers", asked.name, callers), func(b *testing.B) { site.ask(b, asked.patients, callers, requests) })
		}
	}
}

// ask measures rounds of requests for some patients, and greetings beside them.
func (site site) ask(b *testing.B, patients []string, callers, requests int) {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: callers}}
	defer client.CloseIdleConnections()
	rng := rand.New(rand.NewPCG(invented.Seed, 2))
	var doses, greetings, healths round
	for b.Loop() {
		greetings.ask(b, client, callers, slices.Repeat([]string{site.greeting}, requests), "")
		healths.ask(b, client, callers, slices.Repeat([]string{site.doses + "/healthz"}, requests), "")
		addresses := make([]string, requests)
		for i := range addresses {
			addresses[i] = site.doses + "/v1/patients/" + patients[rng.IntN(len(patients))] + "/dose"
		}
		doses.ask(b, client, callers, addresses, site.token)
	}
	b.ReportMetric(0, "ns/op") // a round has no meaning of its own
	b.ReportMetric(doses.percentile(0.50), "p50-ms")
	b.ReportMetric(doses.percentile(0.99), "p99-ms")
	b.ReportMetric(greetings.percentile(0.99), "hello-p99-ms")
	b.ReportMetric(doses.rate(), "requests/s")
	b.ReportMetric(doses.rate()/healths.rate(), "x-health")
	b.ReportMetric(doses.rate()/greetings.rate(), "x-hello")
	b.ReportMetric(doses.cpu.Seconds()*1000/float64(len(doses.took)), "cpu-ms/request")
	b.ReportMetric(greetings.cpu.Seconds()*1000/float64(len(greetings.took)), "hello-cpu-ms")
}

// site is a service with an invented store, and a bare greeting beside it.
type site struct {
	doses, greeting, token string
	patients, recent       []string
}

func openSite(b *testing.B, procedures int) site {
	b.Helper()
	s := settings.Default()
	s.Store.Dir, s.HTTP.RequestsPerSecond, s.Zone = b.TempDir(), 1e6, "UTC"
	token := newStore(b, s.Store.Dir, access.Physicist)
	patients, err := invented.Fill(b.Context(), s.Store.Dir, procedures)
	require.NoError(b, err)
	logger := slog.New(slog.NewJSONHandler(io.Discard, nil))
	w, err := assemble(b.Context(), s, logger, toServe)
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, w.close()) })
	newest, err := w.db.Cases(b.Context(), store.Filter{Limit: procedures * 28 / 1826})
	require.NoError(b, err)
	recent := make([]string, 0, len(newest))
	for _, c := range newest {
		recent = append(recent, c.PatientID)
	}
	hello := echo.New()
	hello.GET("/hello", func(c echo.Context) error { return c.String(http.StatusOK, "hello") })
	return site{doses: listening(b, w.api.Handler(), logger), greeting: listening(b, hello, logger) + "/hello", token: token, patients: patients, recent: recent}
}

// newStore makes an empty store with one account, and gives a token of it.
func newStore(b *testing.B, dir string, role access.Role) string {
	b.Helper()
	db, err := store.Open(b.Context(), store.Config{Dir: dir, Program: "bench"})
	require.NoError(b, err)
	account, err := db.AddAccount(b.Context(), store.System("bench"), "bench", string(role), nil)
	require.NoError(b, err)
	secret := access.NewSecret()
	_, err = db.AddToken(b.Context(), store.System("bench"), account.ID, secret.Prefix, secret.Hash, "bench", time.Now().Add(24*time.Hour))
	require.NoError(b, err)
	require.NoError(b, db.Close())
	return secret.Text
}

// listening serves a handler on loopback and gives its address.
func listening(b *testing.B, handler http.Handler, logger *slog.Logger) string {
	b.Helper()
	l, err := (&net.ListenConfig{}).Listen(b.Context(), "tcp", "127.0.0.1:0")
	require.NoError(b, err)
	server := httpapi.HTTPServer(handler, logger)
	var serving sync.WaitGroup
	serving.Go(func() { _ = server.Serve(l) }) // ends by Shutdown alone
	b.Cleanup(func() {
		require.NoError(b, server.Shutdown(context.Background()))
		serving.Wait()
	})
	return "http://" + l.Addr().String()
}

// round is what many requests took, together and each.
type round struct {
	took         []time.Duration
	elapsed, cpu time.Duration
}

// ask has callers share the requests.
func (r *round) ask(b *testing.B, client *http.Client, callers int, addresses []string, token string) {
	b.Helper()
	took := make([]time.Duration, len(addresses))
	var next atomic.Int64
	var asking sync.WaitGroup
	begun, cpu := time.Now(), processorTime(b)
	for range callers {
		asking.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(addresses)); i = next.Add(1) - 1 {
				one := time.Now()
				if err := get(b.Context(), client, addresses[i], token); err != nil {
					b.Error(err)
					return
				}
				took[i] = time.Since(one)
			}
		})
	}
	asking.Wait()
	r.elapsed += time.Since(begun)
	r.cpu += processorTime(b) - cpu
	r.took = append(r.took, took...)
	slices.Sort(r.took)
}

func get(ctx context.Context, client *http.Client, address, token string) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return err
	}
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := client.Do(request)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }() // it was read to its end
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		return err
	}
	if answer.StatusCode >= http.StatusMultipleChoices {
		return fmt.Errorf("%s: %s", address, answer.Status)
	}
	return nil
}

func (r *round) rate() float64 { return float64(len(r.took)) / r.elapsed.Seconds() }

// percentile is in milliseconds; the times are in order.
func (r *round) percentile(q float64) float64 {
	return r.took[min(len(r.took)-1, int(q*float64(len(r.took))))].Seconds() * 1000
}

// processorTime is the time that this process, service and callers alike, has had the processors for.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var use syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
