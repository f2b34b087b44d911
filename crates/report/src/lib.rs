//! Figures and the HTML report.
