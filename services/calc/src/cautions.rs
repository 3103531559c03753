//! What can hurt somebody where these numbers are used. The site's procedure, local codes and
//! licensed practice decide; nothing here certifies safety.

/// Primer and other solvents.
pub const PRIMER_CAUTIONS: [&str; 3] = [
    "Primer is flammable, some below 0 °C: no hot work, torches and the spark test well apart from \
     it, tins closed and bonded.",
    "Ventilate, above all in a trench or a bell hole; follow the safety data sheet.",
    "This number does not replace the site's procedure, local codes or licensed practice.",
];

/// Work in and at a trench.
pub const TRENCH_CAUTIONS: [&str; 4] = [
    "Trenches collapse: nobody enters without the protection that local codes ask for at that \
     depth and soil.",
    "A competent person inspects daily and after rain; spoil stays back from the edge; a way out \
     is near.",
    "Test the air where gas or solvent vapour may have gathered; nobody stands under a suspended \
     pipe.",
    "This number does not replace the site's procedure, local codes or licensed practice.",
];
