package rdsr

import (
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// Attributes of the evidence lists (PS3.3 C.17.2), which tell the series of each image that the content names.
const (
	tagReferencedSeries dicomio.Tag = 0x00081115
	tagCurrentEvidence  dicomio.Tag = 0x0040A375
	tagOtherEvidence    dicomio.Tag = 0x0040A385
)

// listEvidence reads the evidence lists, by SOP instance UID.
func (r *reader) listEvidence() {
	r.evidence = map[string]procedure.ImageReference{}
	for _, tag := range []dicomio.Tag{tagCurrentEvidence, tagOtherEvidence} {
		for _, study := range r.set.Items(tag) {
			for _, series := range study.Items(tagReferencedSeries) {
				for _, ref := range series.Items(tagReferencedSOP) {
					image := referenced(ref)
					image.StudyUID, image.SeriesUID = trimmed(study, tagStudy), trimmed(series, tagSeries)
					r.evidence[image.InstanceUID] = image
				}
			}
		}
	}
}

func referenced(ref dicomio.DataSet) procedure.ImageReference {
	return procedure.ImageReference{ClassUID: trimmed(ref, tagReferencedClass), InstanceUID: trimmed(ref, tagReferencedInstance)}
}

func trimmed(set dicomio.DataSet, tag dicomio.Tag) string { return strings.TrimSpace(set.Text(tag)) }

// images gives the images that IMAGE items name.
func (r *reader) images(found []item) []procedure.ImageReference {
	var out []procedure.ImageReference
	for _, it := range found {
		for _, ref := range it.set.Items(tagReferencedSOP) {
			image := referenced(ref)
			if listed, ok := r.evidence[image.InstanceUID]; ok {
				image.StudyUID, image.SeriesUID = listed.StudyUID, listed.SeriesUID
			}
			if image.InstanceUID != "" {
				out = append(out, image)
			}
		}
	}
	return out
}

// image makes an IMAGE item.
func (n nodes) image(name procedure.Code, image procedure.ImageReference) dicomio.DataSet {
	return n.item(contains, "IMAGE", name, []dicomio.Element{sequence(tagReferencedSOP, referenceItem(image))}, nil)
}

func referenceItem(image procedure.ImageReference) dicomio.DataSet {
	return dicomio.DataSet{element(tagReferencedClass, "UI", image.ClassUID), element(tagReferencedInstance, "UI", image.InstanceUID)}
}

// evidenceSet lists the images whose series is known, those of the report's own study as evidence of the procedure.
func (w *writer) evidenceSet() dicomio.DataSet {
	images := append([]procedure.ImageReference(nil), w.report.DoseImages...)
	for i := range w.report.Events {
		images = append(images, w.report.Events[i].Images...)
	}
	var current, other []dicomio.DataSet
	for _, image := range images {
		if image.SeriesUID == "" || image.StudyUID == "" {
			continue
		}
		series := sorted(dicomio.DataSet{
			element(tagSeries, "UI", image.SeriesUID),
			sequence(tagReferencedSOP, referenceItem(image)),
		})
		study := sorted(dicomio.DataSet{element(tagStudy, "UI", image.StudyUID), sequence(tagReferencedSeries, series)})
		if image.StudyUID == w.report.StudyUID {
			current = append(current, study)
		} else {
			other = append(other, study)
		}
	}
	var set dicomio.DataSet
	if len(current) > 0 {
		set = append(set, sequence(tagCurrentEvidence, current...))
	}
	if len(other) > 0 {
		set = append(set, sequence(tagOtherEvidence, other...))
	}
	return set
}
