package dimse

import "time"

// StorageForOne is Storage with room in memory for one small object at a time.
func StorageForOne(k Keeper, patience time.Duration) []Service {
	return storageWithin(k, heldStep, patience)
}
