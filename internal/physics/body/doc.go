// Package body is the model of the patient's outside: a stylised phantom of trunk, neck, head and legs, scaled to the
// patient and cut into small patches of skin.
//
// A reader needs three things: New makes a Body from age, height and weight and states what it assumed; Body.Patches
// with Body.Groups is the skin in an order fit for rejecting whole groups; Body.Facing, Body.Shadowed and Body.Enter
// answer what a beam can reach.
//
// Arms are raised out of every beam. The trunk's top around the neck and the underside of the head carry skin; the
// trunk's base between the legs and the soles carry none. Equations are those of THEORY.md section 5.
package body
