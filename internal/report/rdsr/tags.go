package rdsr

import "afterbeam/internal/report/dicomio"

// Attributes of the header and of content items (PS3.6).
const (
	tagCharacterSet       dicomio.Tag = 0x00080005
	tagSOPClass           dicomio.Tag = 0x00080016
	tagSOPInstance        dicomio.Tag = 0x00080018
	tagStudyDate          dicomio.Tag = 0x00080020
	tagContentDate        dicomio.Tag = 0x00080023
	tagStudyTime          dicomio.Tag = 0x00080030
	tagContentTime        dicomio.Tag = 0x00080033
	tagAccession          dicomio.Tag = 0x00080050
	tagModality           dicomio.Tag = 0x00080060
	tagManufacturer       dicomio.Tag = 0x00080070
	tagInstitution        dicomio.Tag = 0x00080080
	tagReferringPhysician dicomio.Tag = 0x00080090
	tagCodeValue          dicomio.Tag = 0x00080100
	tagCodeScheme         dicomio.Tag = 0x00080102
	tagCodeMeaning        dicomio.Tag = 0x00080104
	tagMappingResource    dicomio.Tag = 0x00080105
	tagLongCodeValue      dicomio.Tag = 0x00080119
	tagURNCodeValue       dicomio.Tag = 0x00080120
	tagZoneOffset         dicomio.Tag = 0x00080201
	tagStation            dicomio.Tag = 0x00081010
	tagStudyDescription   dicomio.Tag = 0x00081030
	tagProcedureCodes     dicomio.Tag = 0x00081032
	tagPerformingName     dicomio.Tag = 0x00081050
	tagOperatorsName      dicomio.Tag = 0x00081070
	tagModel              dicomio.Tag = 0x00081090
	tagReferencedStep     dicomio.Tag = 0x00081111
	tagReferencedClass    dicomio.Tag = 0x00081150
	tagReferencedInstance dicomio.Tag = 0x00081155
	tagReferencedSOP      dicomio.Tag = 0x00081199
	tagReferencedStudy    dicomio.Tag = 0x00081110
	tagPatientName        dicomio.Tag = 0x00100010
	tagPatientID          dicomio.Tag = 0x00100020
	tagIssuer             dicomio.Tag = 0x00100021
	tagBirthDate          dicomio.Tag = 0x00100030
	tagSex                dicomio.Tag = 0x00100040
	tagAge                dicomio.Tag = 0x00101010
	tagHeight             dicomio.Tag = 0x00101020
	tagWeight             dicomio.Tag = 0x00101030
	tagPregnancy          dicomio.Tag = 0x001021C0
	tagSerial             dicomio.Tag = 0x00181000
	tagSoftware           dicomio.Tag = 0x00181020
	tagStudy              dicomio.Tag = 0x0020000D
	tagSeries             dicomio.Tag = 0x0020000E
	tagStudyID            dicomio.Tag = 0x00200010
	tagSeriesNumber       dicomio.Tag = 0x00200011
	tagInstanceNumber     dicomio.Tag = 0x00200013
	tagRequestedProcedure dicomio.Tag = 0x00321060
	tagRequestedCodes     dicomio.Tag = 0x00321064
	tagStepDescription    dicomio.Tag = 0x00400254
	tagPlacerNumber       dicomio.Tag = 0x00402016
	tagFillerNumber       dicomio.Tag = 0x00402017
	tagRequestedID        dicomio.Tag = 0x00401001
	tagUnits              dicomio.Tag = 0x004008EA
	tagRelationship       dicomio.Tag = 0x0040A010
	tagVerifyingOrg       dicomio.Tag = 0x0040A027
	tagVerifyingTime      dicomio.Tag = 0x0040A030
	tagValueType          dicomio.Tag = 0x0040A040
	tagConceptName        dicomio.Tag = 0x0040A043
	tagContinuity         dicomio.Tag = 0x0040A050
	tagVerifyingObserver  dicomio.Tag = 0x0040A073
	tagVerifyingName      dicomio.Tag = 0x0040A075
	tagVerifyingCode      dicomio.Tag = 0x0040A088
	tagDateTime           dicomio.Tag = 0x0040A120
	tagDate               dicomio.Tag = 0x0040A121
	tagPersonName         dicomio.Tag = 0x0040A123
	tagUID                dicomio.Tag = 0x0040A124
	tagText               dicomio.Tag = 0x0040A160
	tagFloat              dicomio.Tag = 0x0040A161
	tagCode               dicomio.Tag = 0x0040A168
	tagMeasured           dicomio.Tag = 0x0040A300
	tagQualifier          dicomio.Tag = 0x0040A301
	tagNumber             dicomio.Tag = 0x0040A30A
	tagReferencedRequest  dicomio.Tag = 0x0040A370
	tagPerformedCodes     dicomio.Tag = 0x0040A372
	tagCompletion         dicomio.Tag = 0x0040A491
	tagVerification       dicomio.Tag = 0x0040A493
	tagTemplate           dicomio.Tag = 0x0040A504
	tagContent            dicomio.Tag = 0x0040A730
	tagTemplateID         dicomio.Tag = 0x0040DB00
)

// SOP classes that are named in answers (PS3.4 and PS3.6).
const (
	classDose                = "1.2.840.10008.5.1.4.1.1.88.67"
	classEnhancedDose        = "1.2.840.10008.5.1.4.1.1.88.76"
	classPatientDose         = "1.2.840.10008.5.1.4.1.1.88.73"
	classRadiopharmaceutical = "1.2.840.10008.5.1.4.1.1.88.68"
	classEnhancedSR          = "1.2.840.10008.5.1.4.1.1.88.22"
	classComprehensiveSR     = "1.2.840.10008.5.1.4.1.1.88.33"
	classComprehensive3DSR   = "1.2.840.10008.5.1.4.1.1.88.34"
)
