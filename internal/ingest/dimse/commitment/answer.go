package commitment

import (
	"bytes"
	"context"
	"fmt"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

const (
	tagRetrieveTitle dicomio.Tag = 0x00080054
	tagClass         dicomio.Tag = 0x00081150
	tagInstance      dicomio.Tag = 0x00081155
	tagTransaction   dicomio.Tag = 0x00081195
	tagReason        dicomio.Tag = 0x00081197
	tagFailed        dicomio.Tag = 0x00081198
	tagReferenced    dicomio.Tag = 0x00081199
)

// failed is an object that is not committed to.
type failed struct {
	store.Reference
	reason upper.Status
}

// judge looks for each object of a question.
func (s *Service) judge(ctx context.Context, c store.Commitment) (kept []store.Reference, not []failed, err error) {
	for _, r := range c.Instances {
		reason, err := s.look(ctx, r)
		if err != nil {
			return nil, nil, err
		}
		if reason == upper.Success {
			kept = append(kept, r)
		} else {
			not = append(not, failed{r, reason})
		}
	}
	return kept, not, nil
}

// look tells whether an object is kept: its bytes are read again, so that nothing is promised that the disk has not.
func (s *Service) look(ctx context.Context, r store.Reference) (upper.Status, error) {
	receipts, err := s.cfg.Store.Kept(ctx, r.SOPInstance)
	if err != nil {
		return 0, err
	}
	reason := upper.StatusNoSuchInstance
	for _, one := range receipts {
		if one.SOPClass != r.SOPClass {
			reason = upper.StatusConflict
			continue
		}
		if _, err := s.cfg.Store.Raw(one.Digest); err == nil {
			return upper.Success, nil
		}
		reason = upper.StatusProcessing
	}
	return reason, nil
}

// report makes the N-EVENT-REPORT of a question.
func (s *Service) report(ctx context.Context, c store.Commitment, transfer string) (upper.Command, []byte, string, error) {
	kept, not, err := s.judge(ctx, c)
	if err != nil {
		return upper.Command{}, nil, "", err
	}
	event := uint16(eventComplete)
	set := dicomio.DataSet{
		{Tag: tagRetrieveTitle, VR: "AE", Values: []string{s.cfg.Title}},
		{Tag: tagTransaction, VR: "UI", Values: []string{c.TransactionUID}},
	}
	if len(not) > 0 {
		event = eventIncomplete
		items := make([]dicomio.DataSet, 0, len(not))
		for _, one := range not {
			items = append(items, append(reference(one.Reference), dicomio.Element{Tag: tagReason, VR: "US", Values: []string{fmt.Sprint(uint16(one.reason))}}))
		}
		set = append(set, dicomio.Element{Tag: tagFailed, VR: "SQ", Items: items})
	}
	if len(kept) > 0 {
		items := make([]dicomio.DataSet, 0, len(kept))
		for _, one := range kept {
			items = append(items, reference(one))
		}
		set = append(set, dicomio.Element{Tag: tagReferenced, VR: "SQ", Items: items})
	}
	body, err := dicomio.Encode(set, transfer)
	crashpoint.Reached(crashpoint.CommitmentMade)
	command := upper.Command{Field: upper.NEventReport, AffectedClass: SOPClass, AffectedInstance: instance, Event: quantity.Some(event)}
	return command, body, fmt.Sprintf("%d committed, %d not", len(kept), len(not)), err
}

func reference(r store.Reference) dicomio.DataSet {
	return dicomio.DataSet{{Tag: tagClass, VR: "UI", Values: []string{r.SOPClass}}, {Tag: tagInstance, VR: "UI", Values: []string{r.SOPInstance}}}
}

// reportOn sends what is pending for a peer on an association of its own. The answers come among its other messages.
func (s *Service) reportOn(ctx context.Context, a *upper.Association, on upper.Context, peer string) error {
	pending, err := s.cfg.Store.PendingCommitments(ctx, peer, 100)
	if err != nil {
		s.cfg.Log.Error("storage commitments not read", "error", err)
		return nil
	}
	for _, c := range pending {
		command, body, outcome, err := s.report(ctx, c, on.Transfer)
		if err != nil {
			s.cfg.Log.Error("storage commitment not answered", "commitment", c.ID, "error", err)
			continue
		}
		command.MessageID = a.MessageID()
		s.mu.Lock()
		if len(s.asking) >= mostAsking {
			clear(s.asking)
		}
		s.asking[sent{a, command.MessageID}] = answer{c, outcome}
		s.mu.Unlock()
		if err := a.Send(on.ID, command, bytes.NewReader(body)); err != nil {
			return err
		}
	}
	return nil
}

// taken is told that a peer took a report on its own association, or did not.
func (s *Service) taken(ctx context.Context, c dimse.Call) (dimse.Reply, error) {
	key := sent{c.Association, c.Message.Command.RespondedTo}
	s.mu.Lock()
	of, known := s.asking[key]
	delete(s.asking, key)
	s.mu.Unlock()
	if known {
		crashpoint.Reached(crashpoint.CommitmentTold)
		s.settle(ctx, of.to, of.outcome, statusError(c.Message.Command.Status))
	}
	return dimse.Reply{}, nil
}

// statusError makes an error of a failed status of a peer.
func statusError(status upper.Status) error {
	if status.Failed() {
		return fmt.Errorf("peer answered %s", status)
	}
	return nil
}
