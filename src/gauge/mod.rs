//! From the lattice and the plane to the gauge and its budget.
