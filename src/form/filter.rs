//! Mean line and envelope of a profile: form without grain.
