//! Cast code, labels, mats, orders and bench sheets as PDF and PNG.
