//! Whose sensor is listened to.
//!
//! A sensor is taken once, while the wearer asks for it, by pairing in which six digits were compared or typed on both
//! sides; without such digits only when the wearer was told what that means and agreed. From then on only the link that
//! is encrypted with that pairing's key is listened to. Nothing that an unencrypted peer says is ever used. A sensor that
//! has lost its key is one without: it is paired anew when the wearer asks for that, and not before. The phone or desk that
//! may change settings is paired with digits, or not at all.

use crate::collector::Kind;

/// How well a link is protected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Security {
    /// Not at all.
    None,
    /// Encrypted, but nobody has seen to it that the other side is the sensor.
    Encrypted,
    /// Encrypted, and digits were compared.
    Authenticated,
}

/// Who a pairing was made with, and its key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bond {
    /// Whether its identity address is a random one.
    pub random: bool,
    /// Its identity address, as sent.
    pub address: [u8; 6],
    /// Tells which changing addresses are its own.
    pub resolving_key: Option<[u8; 16]>,
    /// The key of all later links.
    pub key: [u8; 16],
    /// Whether digits were compared.
    pub authenticated: bool,
}

/// What the wearer allows now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pairing {
    /// Nobody new.
    Closed,
    /// A new sensor, with digits to compare.
    WithDigits,
    /// A new sensor, even without: whoever is near enough may be taken for it.
    WithoutDigits,
}

/// Who may be paired now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Nobody.
    Nobody,
    /// A new one of this kind; the old one is passed over.
    New(Kind),
    /// The one that is known, at its address, because it has lost its key.
    Again(Kind),
    /// A phone or desk, which may then change settings.
    Desk,
}

/// A button held for less asks for nothing, seconds.
pub const HOLD_S: u32 = 3;

/// What the wearer asks for by a button that was held for so many seconds while the wrist was switched on; held on to the end,
/// nothing.
#[must_use]
pub const fn asked(held_s: u32) -> (Wanted, Pairing) {
    match held_s / HOLD_S {
        1 => (Wanted::New(Kind::Sensor), Pairing::WithDigits),
        2 => (Wanted::Again(Kind::Sensor), Pairing::WithDigits),
        3 => (Wanted::Desk, Pairing::WithDigits),
        4 => (Wanted::New(Kind::Sensor), Pairing::WithoutDigits),
        5 => (Wanted::Again(Kind::Sensor), Pairing::WithoutDigits),
        _ => (Wanted::Nobody, Pairing::Closed),
    }
}

/// Why a peer is not listened to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Not the sensor that was paired, and no pairing is wanted.
    Stranger,
    /// It bears the sensor's address, but has not its key.
    NoKey,
    /// Its key is of a pairing less sure than the one wanted.
    Unsure,
}

/// Whether a peer is listened to: `known` is the bond it claims, `security` what the link has reached, `paired` whether a
/// pairing was completed on this very link.
///
/// # Errors
/// Says why not.
pub fn admit(
    known: Option<&Bond>,
    security: Security,
    paired: bool,
    pairing: Pairing,
) -> Result<(), Refusal> {
    let wanted = match (known, pairing) {
        // a new pairing must be asked for, even by who says to be the old one
        (_, Pairing::WithDigits) if paired => Security::Authenticated,
        (_, Pairing::WithoutDigits) if paired => Security::Encrypted,
        (Some(bond), _) if !paired && bond.authenticated => Security::Authenticated,
        (Some(_), _) if !paired => Security::Encrypted,
        (Some(_), _) => return Err(Refusal::NoKey),
        (None, _) => return Err(Refusal::Stranger),
    };
    match security {
        security if security >= wanted => Ok(()),
        Security::None if known.is_some() => Err(Refusal::NoKey),
        Security::None => Err(Refusal::Stranger),
        _ => Err(Refusal::Unsure),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOND: Bond =
        Bond { random: false, address: [1; 6], resolving_key: None, key: [7; 16], authenticated: true };

    #[test]
    fn every_case_by_hand() {
        use Pairing::*;
        use Security::*;
        let plain = Bond { authenticated: false, ..BOND };
        for (known, security, paired, pairing, answer) in [
            // reconnecting
            (Some(&BOND), Authenticated, false, Closed, Ok(())),
            (Some(&BOND), Encrypted, false, Closed, Err(Refusal::Unsure)),
            (Some(&BOND), None, false, Closed, Err(Refusal::NoKey)),
            (Some(&BOND), None, false, WithoutDigits, Err(Refusal::NoKey)),
            (Some(&plain), Encrypted, false, Closed, Ok(())),
            (Some(&plain), None, false, Closed, Err(Refusal::NoKey)),
            // pairs anew though nobody asked
            (Some(&BOND), Authenticated, true, Closed, Err(Refusal::NoKey)),
            (Some(&plain), Encrypted, true, Closed, Err(Refusal::NoKey)),
            // strangers
            (Option::None, Authenticated, true, Closed, Err(Refusal::Stranger)),
            (Option::None, Authenticated, false, WithDigits, Err(Refusal::Stranger)),
            (Option::None, None, false, WithoutDigits, Err(Refusal::Stranger)),
            (Option::None, None, true, WithDigits, Err(Refusal::Stranger)),
            // a new one
            (Option::None, Authenticated, true, WithDigits, Ok(())),
            (Option::None, Encrypted, true, WithDigits, Err(Refusal::Unsure)),
            (Option::None, Encrypted, true, WithoutDigits, Ok(())),
            (Some(&BOND), Authenticated, true, WithDigits, Ok(())),
            (Some(&BOND), Encrypted, true, WithDigits, Err(Refusal::Unsure)),
        ] {
            let got = admit(known, security, paired, pairing);
            assert_eq!(got, answer, "{known:?} {security:?} {paired} {pairing:?}");
        }
    }
    #[test]
    fn the_longer_the_button_is_held_the_more_is_risked_and_at_last_nothing() {
        use Pairing::*;
        use Wanted::*;
        let all: [(u32, (Wanted, Pairing)); 12] = [
            (0, (Nobody, Closed)),
            (2, (Nobody, Closed)),
            (3, (New(Kind::Sensor), WithDigits)),
            (5, (New(Kind::Sensor), WithDigits)),
            (6, (Again(Kind::Sensor), WithDigits)),
            (9, (Desk, WithDigits)),
            (11, (Desk, WithDigits)),
            (12, (New(Kind::Sensor), WithoutDigits)),
            (15, (Again(Kind::Sensor), WithoutDigits)),
            (17, (Again(Kind::Sensor), WithoutDigits)),
            (18, (Nobody, Closed)),
            (u32::MAX, (Nobody, Closed)),
        ];
        for (held_s, wanted) in all {
            assert_eq!(asked(held_s), wanted, "{held_s}");
        }
    }
}
