// Package queryretrieve fills the store from an archive over the DICOM network, as the user of its Query/Retrieve service
// (PS3.4 annex C, study root). Run is all that a caller needs.
//
// Each day of a period is searched from study to series to instance, because what an archive says of a study's modalities
// need not name its dose report; an instance is a dose report by its SOP class. What the store lacks is then retrieved one
// object at a time: by C-GET where the archive accepts it, with the handlers of the door for C-STORE, else by C-MOVE to
// the door itself. An object counts as retrieved when the store has it, whatever the archive's counters say; what does not
// come stands in the list of what is lacking, with the reason, and is asked for again in the next run.
//
// Searched days and named objects are in the store, so that a run may end at any time, however hard, and the next one goes
// on. One association is used at a time, no faster than the rate allows and only within the hours that are open.
package queryretrieve
