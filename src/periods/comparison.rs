//! Period against period.
