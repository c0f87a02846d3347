// Package invented fills a database with the procedures of a site that does not exist, for measuring alone.
//
// The site has four rooms over five years:
//   - there is one patient for four procedures; a patient's number of procedures is geometric with a mean of 4, cut at
//     40, and the last patient takes what is left, so that there are exactly as many procedures as asked for;
//   - every 50th patient is linked to the one before, as two records of one person;
//   - starts are uniform over 1,826 days between 7 and 19 o'clock, UTC; rooms, classes and 60 names are uniform;
//   - kerma is log-normal with a median of 1 Gy and a geometric standard deviation of 2.5, and the other numbers follow
//     it by fixed factors; the flag is "reached" from 5 Gy, "near" from 4 Gy, "unknown" for one in 100, else "below";
//   - each procedure has one version with a body of 300 bytes, for three in four with a map of as many, and three flags,
//     of which the first has the state of the case.
//
// The seed is fixed: two runs write the same rows. They are written straight into the tables of a store's database in
// one transaction, beside the store's own way in, which makes every row durable by itself.
package invented
