// Package skinmap draws a map of skin dose as a picture, PNG or SVG.
//
// A reader needs three things: Figure is what to draw, PNG and SVG draw it, Levels says which contour lines a peak gets.
// The picture shows the skin unrolled as it is seen from outside: the back in the middle, head up, the patient's left
// side on the left. On the left of the picture is the whole skin, on the right the surroundings of the peak. Darker is
// more dose, in one hue, so that grey prints read the same. The picture bears no name or number of a patient.
package skinmap
