//! The answer to the phone: every way to meet a caller's wish, side by side.
