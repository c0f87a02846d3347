package httpapi

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/store"
)

// MakePaper makes a paper of a procedure's newest estimate and keeps it.
func (h *handlers) MakePaper(ctx context.Context, request MakePaperRequestObject) (MakePaperResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	call, body := callOf(ctx), request.Body
	p, err := h.cfg.Papers.Make(ctx, call.actor(), c.ID, PaperAsk{
		Kind: string(body.Kind), Language: or(body.Language), Size: string(or(body.Size)), Recipient: or(body.Recipient), By: call.grant.Account.Name,
	})
	switch {
	case errors.Is(err, paper.ErrRefused), errors.Is(err, paperpdf.ErrUndrawable), errors.Is(err, paperpdf.ErrSize):
		return nil, tell(errNoPaper, err.Error())
	case err != nil:
		return nil, fmt.Errorf("make paper of %s: %w", c.ID, err)
	}
	return MakePaper201JSONResponse(encodePaper(p)), nil
}

// ListPapers lists the papers of a procedure.
func (h *handlers) ListPapers(ctx context.Context, request ListPapersRequestObject) (ListPapersResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	papers, err := h.store.Papers(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "papers.list", c.ID, c.PatientID); err != nil {
		return nil, err
	}
	return ListPapers200JSONResponse{Papers: every(papers, encodePaper)}, nil
}

// GetPaper gives the kept bytes of a paper: a reprint is the same.
func (h *handlers) GetPaper(ctx context.Context, request GetPaperRequestObject) (GetPaperResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	p, err := h.store.Paper(ctx, c.ID, request.Paper)
	if err != nil {
		return nil, err
	}
	answer := paperAnswer{contentType: "application/pdf", digest: p.PDF, name: p.Kind + "-" + p.ID + ".pdf"}
	if request.Params.Format != nil && *request.Params.Format == GetPaperParamsFormatHtml {
		answer = paperAnswer{contentType: "text/html; charset=utf-8", digest: p.HTML, name: p.Kind + "-" + p.ID + ".html"}
	}
	if answer.body, err = h.store.Raw(answer.digest); err != nil {
		return nil, fmt.Errorf("%w: paper %s: %w", errDamaged, p.ID, err)
	}
	if err := h.viewed(ctx, "paper.view", p.ID, c.PatientID); err != nil {
		return nil, err
	}
	return answer, nil
}

func encodePaper(p store.Paper) Paper {
	return Paper{
		Id: p.ID, ProcedureId: p.CaseID, Version: p.Version, Kind: PaperKind(p.Kind), Language: p.Language, Size: p.Size,
		MadeAt: p.MadeAt, MadeBy: p.MadeBy, Digest: p.PDF, HtmlDigest: p.HTML,
	}
}

// paperAnswer is a paper in either form.
type paperAnswer struct {
	contentType, digest, name string
	body                      []byte
}

// VisitGetPaperResponse writes it. The HTML may use nothing but its own style and pictures.
func (a paperAnswer) VisitGetPaperResponse(w http.ResponseWriter) error {
	h := w.Header()
	h.Set("Content-Type", a.contentType)
	h.Set("Content-Length", strconv.Itoa(len(a.body)))
	h.Set("Content-Disposition", `inline; filename="`+a.name+`"`)
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox")
	h.Set("ETag", quote(a.digest))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(a.body)
	return err
}
