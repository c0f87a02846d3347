package queryretrieve_test

const killedVariable = "AFTERBEAM_TEST_FETCH_KILLED"

func runUntilKilled() {}
