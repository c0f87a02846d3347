package queryretrieve

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// search is the search of one day.
type search struct {
	f     *fetch
	day   store.ArchiveDay
	found []store.Archived
}

// trouble notes the first reason why the search came to no end.
func (s *search) trouble(reason string) {
	if s.day.Problem == "" {
		s.day.Problem = reason
	}
}

// studies goes through the studies of the day. Its error is that of the archive as a whole; what is wrong with one study
// is noted and the others are gone through.
func (s *search) studies(ctx context.Context, date string) error {
	all, err := s.ask(ctx, studies(), map[dicomio.Tag]string{tagStudyDate: date})
	if err != nil {
		return err
	}
	for _, one := range all {
		switch {
		case one.Study == "":
			s.trouble("a study without a UID")
			continue
		case passed(one.Modalities):
			s.day.Passed++
			s.day.Studies++
			continue
		}
		s.day.Studies++
		err := s.study(ctx, one.Study)
		var no refused
		if errors.As(err, &no) {
			s.trouble(fmt.Sprintf("study %s: %v", one.Study, err))
		} else if err != nil {
			return err
		}
	}
	return nil
}

// study finds the dose reports of one study.
func (s *search) study(ctx context.Context, uid string) error {
	of := map[dicomio.Tag]string{tagStudy: uid, tagModality: modalityOfReports}
	all, err := s.ask(ctx, series(), of)
	if err != nil {
		return err
	}
	for _, one := range all {
		if one.Series == "" {
			s.trouble("study " + uid + ": a series without a UID")
			continue
		}
		if one.Modality != "" && one.Modality != modalityOfReports {
			continue // an archive that does not match by modality
		}
		of[tagSeries] = one.Series
		found, err := s.ask(ctx, instances(), of)
		if err != nil {
			return err
		}
		for _, object := range found {
			s.take(uid, one.Series, object)
		}
	}
	return nil
}

// take lists an instance that is, or may be, a dose report.
func (s *search) take(study, series string, a Answer) {
	if a.Instance == "" {
		s.trouble("study " + study + ": an instance without a UID")
		return
	}
	if !s.f.wanted(a.Class) || slices.ContainsFunc(s.found, func(o store.Archived) bool { return o.SOPInstance == a.Instance }) {
		return
	}
	s.found = append(s.found, store.Archived{SOPInstance: a.Instance, SOPClass: a.Class, SeriesUID: series, StudyUID: study})
}

// wanted tells whether instances of a class are retrieved: dose reports, and what the archive does not tell the class of.
func (f *fetch) wanted(class string) bool {
	if class == "" || slices.Contains(doseClasses(), class) {
		return true
	}
	return f.cfg.Converted && slices.ContainsFunc(f.link.storage, func(s dimse.Service) bool { return s.SOPClass == class })
}

// ask asks one question, again where the association broke.
func (s *search) ask(ctx context.Context, q question, values map[dicomio.Tag]string) (answers []Answer, err error) {
	for try := 1; try <= s.f.cfg.Attempts; try++ {
		if err := s.f.pace(ctx); err != nil {
			return nil, err
		}
		var odd int
		answers, odd, err = s.f.link.find(ctx, q, values)
		var no refused
		switch {
		case err == nil && odd > 0:
			s.trouble(fmt.Sprintf("%d answers at level %s were not understood", odd, q.Level))
			return answers, nil
		case err == nil, errors.As(err, &no), errors.Is(err, ErrUnwilling), errors.Is(err, errNoAssociation), ctx.Err() != nil:
			return answers, err
		}
	}
	return nil, err
}
