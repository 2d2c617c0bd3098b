//! Findings, placements and limits on pictures made for the purpose.
