package queryretrieve

import (
	"context"
	"errors"
	"fmt"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// object retrieves one object once and notes what became of it. Its error ends the run.
func (f *fetch) object(ctx context.Context, o store.Archived) error {
	if err := f.pace(ctx); err != nil {
		return err
	}
	final, ours, err := f.retrieve(ctx, o)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	kept, storeErr := f.cfg.Store.Kept(ctx, o.SOPInstance)
	if storeErr != nil {
		return storeErr
	}
	switch {
	case err == nil:
		o = judge(o, final, len(kept) > 0, ours)
	case len(kept) > 0: // it came before the association broke
		o.State, o.Status, o.Reason = store.ArchivedGot, "", err.Error()
	default:
		o.State, o.Status, o.Reason = store.ArchivedFailed, "", err.Error()
	}
	if err := f.cfg.Store.NoteFetched(ctx, o); err != nil {
		return err
	}
	if o.State == store.ArchivedGot {
		f.counts.Got++
		if o.Reason != "" && o.Reason != noCounters {
			f.cfg.Log.Warn("object came, the archive says otherwise", "archive", f.cfg.Title, "sop_instance", o.SOPInstance, "status", o.Status, "reason", o.Reason)
		}
		return f.ends(nil)
	}
	f.counts.Failed++
	f.cfg.Log.Warn("object not retrieved", "archive", f.cfg.Title, "sop_instance", o.SOPInstance, "status", o.Status, "reason", o.Reason)
	if err == nil {
		err = errors.New(o.Reason)
		if final.Status == statusNoDestination {
			err = fmt.Errorf("%w: it does not know the AE title %s to send to: have its administrator add it with the address of the service", ErrUnwilling, f.cfg.Destination)
		}
	}
	return f.ends(err)
}

// retrieve asks for one object by the way that the archive takes.
func (f *fetch) retrieve(ctx context.Context, o store.Archived) (final upper.Command, ours string, err error) {
	if err := f.link.open(ctx); err != nil {
		return final, "", err
	}
	values := map[dicomio.Tag]string{tagStudy: o.StudyUID, tagSeries: o.SeriesUID, tagSOPInstance: o.SOPInstance}
	if f.link.gets(o.SOPClass) {
		final, ours, err = f.link.get(ctx, values)
		if err != nil || f.cfg.By == ByGet || final.Status != upper.StatusClassUnknown && final.Status != upper.StatusUnrecognised {
			return final, ours, err
		}
		f.link.moves = true // it agreed to what it does not do
	}
	if f.cfg.By == ByGet {
		return final, "", fmt.Errorf("%w: it does not send by C-GET in the role that is needed", ErrUnwilling)
	}
	if f.cfg.Destination == "" {
		return final, "", fmt.Errorf("%w: C-GET is not accepted or not wanted, and for C-MOVE there is no door here: give dicom.listen", ErrUnwilling)
	}
	final, err = f.link.move(ctx, values)
	return final, "", err
}
