// Reads resources of FHIR R4 from the JSON files of a folder, asks rules in FHIR's path language, and prints those that do not
// hold: one JSON object, with a list for each file. The rules are those of the base standard that a reader of types alone does
// not see, and those of the profile Radiation Dose Summary 1.0.0, in our words.
import { readFileSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const require = createRequire(import.meta.url);
const fhirpath = require('fhirpath');
const r4 = require('fhirpath/fhir-context/r4');

const profile = 'http://hl7.org/fhir/uv/radiation-dose-summary/StructureDefinition/radiation-dose-summary';
const ucum = 'http://unitsofmeasure.org';
const dcm = 'http://dicom.nema.org/resources/ontology/DCM';

// Of every Observation.
const base = {
  'status exists': 'status.exists()',
  'code exists': 'code.exists()',
  'obs-6: no reason for an absent value beside a value': 'dataAbsentReason.empty() or value.empty()',
  'obs-7: no value where a component has the code of the whole': 'value.empty() or component.code.coding.intersect(%resource.code.coding).empty()',
  'qty-3: a unit code has a system': 'value.ofType(Quantity).all(code.empty() or system.exists()) and component.value.ofType(Quantity).all(code.empty() or system.exists())',
  'every quantity has a UCUM system and code': ['value.ofType(Quantity)', 'component.value.ofType(Quantity)', 'component.value.ofType(Range).low', 'component.value.ofType(Range).high']
    .map((q) => `${q}.all(system = '${ucum}' and code.exists())`).join(' and '),
  'every component has a value or says why not': 'component.all(value.exists() or dataAbsentReason.exists())',
  'UIDs are written as OIDs': `(identifier | focus.identifier | partOf.identifier).where(system = 'urn:dicom:uid').all(value.startsWith('urn:oid:'))`,
};

// The names under which an Observation can have its value. With the model of R4 the library takes the first of them for all, so
// that this is asked of the bare names.
const values = ['Quantity', 'CodeableConcept', 'String', 'Boolean', 'Integer', 'Range', 'Ratio', 'SampledData', 'Time', 'DateTime', 'Period'];
const named = { 'at most one value': `(${values.map((v) => `value${v}.count()`).join(' + ')}) <= 1` };

// Of a dose summary.
const summary = {
  'code is LOINC 73569-6': `code.coding.where(system = 'http://loinc.org' and code = '73569-6').exists()`,
  'subject is a patient': `subject.count() = 1 and subject.all(type = 'Patient' or reference.startsWith('Patient/'))`,
  'exactly one focus, a study': `focus.count() = 1 and focus.all(type = 'ImagingStudy')`,
  'exactly one study that it is part of, by its UID': `partOf.where(type = 'ImagingStudy' and identifier.system = 'urn:dicom:uid' and identifier.value.exists()).count() = 1`,
  'value is a string': 'value.ofType(string).exists()',
  'no reason for an absent value': 'dataAbsentReason.empty()',
  'no specimen': 'specimen.empty()',
  'exactly one performer, a practitioner': `performer.count() = 1 and performer.all(type = 'Practitioner')`,
  'effective is a dateTime': 'effective.ofType(dateTime).exists()',
  'totals alone, by their DICOM codes': `component.all(code.coding.where(system = '${dcm}' and (code = '113725' or code = '113722' or code = '113726' or code = '113727' or code = '113730' or code = '113731' or code = '121058')).count() = 1)`,
};

// Of an Observation that is none.
const estimate = {
  'derived from something': 'derivedFrom.exists()',
  'a note with the caution': `note.where(text.contains('not a measurement')).exists()`,
  'no totals of equipment': `component.code.coding.where(system = '${dcm}' and (code = '113725' or code = '113722' or code = '113730')).empty()`,
  'a value has its method and range': `value.empty() or (method.exists() and component.value.ofType(Range).exists())`,
};

// Of a Bundle.
const bundle = {
  'bdl-3: requests in a transaction and nowhere else': `(type = 'transaction' and entry.all(request.exists())) or (type != 'transaction' and entry.request.empty())`,
  'bdl-7: full URLs are unique': 'entry.fullUrl.isDistinct()',
  'no identifier of a patient in a URL': `entry.request.where(url.startsWith('Patient') or ifNoneExist.contains('Patient')).empty()`,
  'references within it are found': `entry.resource.ofType(Observation).derivedFrom.reference.where(startsWith('urn:uuid:')).subsetOf(%resource.entry.fullUrl)`,
};

const ready = (rules, model) => Object.entries(rules).map(([name, rule]) => ({ name, holds: fhirpath.compile(rule, model) }));
const compiled = {
  named: ready(named, null), base: ready(base, r4), summary: ready(summary, r4), estimate: ready(estimate, r4), bundle: ready(bundle, r4),
};

function failing(rules, resource) {
  return rules.filter(({ holds }) => holds(resource, { resource })[0] !== true).map(({ name }) => name);
}

function check(resource) {
  if (resource.resourceType === 'Bundle') {
    return failing(compiled.bundle, resource).concat((resource.entry ?? []).flatMap((e) => check(e.resource)));
  }
  if (resource.resourceType !== 'Observation') return [];
  const claims = (resource.meta?.profile ?? []).includes(profile);
  return [compiled.named, compiled.base, claims ? compiled.summary : compiled.estimate].flatMap((rules) => failing(rules, resource));
}

const folder = process.argv[2];
const found = {};
for (const name of readdirSync(folder).filter((n) => n.endsWith('.json'))) {
  found[name] = check(JSON.parse(readFileSync(join(folder, name), 'utf8')));
}
process.stdout.write(JSON.stringify(found));
