//! What a visit holds: examination, cast, order, rules and follow-up.
