package devicefile

import "afterbeam/internal/procedure"

// The words that profiles are written in, "" being what stands for one that is absent.

func meters() map[string]procedure.MeterKnowledge {
	return map[string]procedure.MeterKnowledge{"": procedure.MeterUnchecked, "unchecked": procedure.MeterUnchecked, "checked": procedure.MeterChecked}
}

func frames() map[string]procedure.AngleFrame {
	return map[string]procedure.AngleFrame{
		"": procedure.FrameUnknown, "unknown": procedure.FrameUnknown, "patient": procedure.FramePatient, "gantry": procedure.FrameGantry,
	}
}

func planes() map[string]procedure.FieldPlane {
	return map[string]procedure.FieldPlane{
		"": procedure.FieldAtDetector, "detector": procedure.FieldAtDetector, "reference": procedure.FieldAtReference, "isocentre": procedure.FieldAtIsocentre,
	}
}

func tables() map[string]procedure.TableKnowledge {
	return map[string]procedure.TableKnowledge{
		"": procedure.TableDefault, "default": procedure.TableDefault, "typed": procedure.TableTyped, "measured": procedure.TableMeasured,
	}
}

func directions() map[string]procedure.TableAxis {
	return map[string]procedure.TableAxis{
		"":      {},
		"head":  {Meaning: procedure.AxisTableHead, Sign: 1},
		"foot":  {Meaning: procedure.AxisTableHead, Sign: -1},
		"left":  {Meaning: procedure.AxisTableLeft, Sign: 1},
		"right": {Meaning: procedure.AxisTableLeft, Sign: -1},
		"down":  {Meaning: procedure.AxisTableDown, Sign: 1},
		"up":    {Meaning: procedure.AxisTableDown, Sign: -1},
	}
}
