//! What the wearer is told of a sensor that is not listened to.

use crate::Note;
use wrist::face::Unheard;
use wrist_collector::collector::Kind;
use wrist_collector::kept::Kept;
use wrist_collector::trust::{Pairing, Refusal, Wanted};

/// Goes by what happened with sensors; of meters, phones and desks it tells nothing.
#[derive(Clone, Copy, Debug)]
pub struct Told {
    paired: bool,
    last: Option<Unheard>,
}

impl Told {
    /// Nothing has happened yet with who is kept.
    #[must_use]
    pub const fn new(kept: &Kept) -> Self {
        Self { paired: kept.sensor.is_some(), last: None }
    }

    /// Takes in what happened.
    pub fn note(&mut self, note: &Note) {
        let last = match note {
            Note::Paired(Kind::Sensor, _) => {
                self.paired = true;
                None
            }
            Note::Linked(Kind::Sensor, _) => None,
            Note::PairingFailed(Wanted::New(Kind::Sensor)) => Some(Unheard::PairingFailed),
            // its key is as lost as before
            Note::PairingFailed(Wanted::Again(Kind::Sensor)) => Some(Unheard::KeyLost),
            Note::Refused(Kind::Sensor, Refusal::NoKey) => Some(Unheard::KeyLost),
            Note::Refused(Kind::Sensor, Refusal::Unsure) => Some(Unheard::NoDigits),
            // what is known of the wearer's own is not put aside for another's
            Note::Refused(Kind::Sensor, Refusal::Stranger) => Some(self.last.unwrap_or(Unheard::Another)),
            _ => return,
        };
        self.last = last;
    }

    /// What is to be told now, `wanted` being who may be paired.
    #[must_use]
    pub fn now(&self, wanted: (Wanted, Pairing)) -> Option<Unheard> {
        let open = matches!(
            wanted,
            (
                Wanted::New(Kind::Sensor) | Wanted::Again(Kind::Sensor),
                Pairing::WithDigits | Pairing::WithoutDigits
            )
        );
        match self.last {
            // without one of the wearer's own, any sensor is another
            None | Some(Unheard::Another) if open => Some(Unheard::PairingOpen),
            None | Some(Unheard::Another) if !self.paired => Some(Unheard::NoSensor),
            last => last,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wrist_collector::kept::{Peer, Settled};
    use wrist_collector::trust::{Bond, Security};

    const CLOSED: (Wanted, Pairing) = (Wanted::Nobody, Pairing::Closed);
    const OPEN: (Wanted, Pairing) = (Wanted::New(Kind::Sensor), Pairing::WithDigits);

    fn kept() -> Kept {
        let bond = Bond {
            random: true,
            address: [1, 2, 3, 4, 5, 0xC6],
            resolving_key: None,
            key: [7; 16],
            authenticated: true,
        };
        Kept { sensor: Some(Peer { bond, settled: Settled::default() }), meter: None, desk: None }
    }

    #[test]
    fn none_is_paired_until_one_is() {
        let mut told = Told::new(&Kept::default());
        assert_eq!(told.now(CLOSED), Some(Unheard::NoSensor));
        assert_eq!(told.now(OPEN), Some(Unheard::PairingOpen));
        for other in [(Wanted::Desk, Pairing::WithDigits), (Wanted::New(Kind::Meter), Pairing::WithDigits)] {
            assert_eq!(told.now(other), Some(Unheard::NoSensor), "{other:?}");
        }
        assert_eq!(told.now((Wanted::New(Kind::Sensor), Pairing::Closed)), Some(Unheard::NoSensor));
        let unsafely = (Wanted::New(Kind::Sensor), Pairing::WithoutDigits);
        assert_eq!(told.now(unsafely), Some(Unheard::PairingOpen));
        // whoever is near, none is the wearer's
        told.note(&Note::Refused(Kind::Sensor, Refusal::Stranger));
        assert_eq!((told.now(CLOSED), told.now(OPEN)), (Some(Unheard::NoSensor), Some(Unheard::PairingOpen)));
        told.note(&Note::Paired(Kind::Sensor, Security::Authenticated));
        assert_eq!((told.now(CLOSED), told.now(OPEN)), (None, Some(Unheard::PairingOpen)));
    }

    #[test]
    fn what_was_refused_is_told_until_it_is_listened_to() {
        let again = (Wanted::Again(Kind::Sensor), Pairing::WithDigits);
        for (note, unheard) in [
            (Note::Refused(Kind::Sensor, Refusal::NoKey), Unheard::KeyLost),
            (Note::Refused(Kind::Sensor, Refusal::Unsure), Unheard::NoDigits),
            (Note::Refused(Kind::Sensor, Refusal::Stranger), Unheard::Another),
            (Note::PairingFailed(Wanted::New(Kind::Sensor)), Unheard::PairingFailed),
            (Note::PairingFailed(Wanted::Again(Kind::Sensor)), Unheard::KeyLost),
        ] {
            let mut told = Told::new(&kept());
            assert_eq!((told.now(CLOSED), told.now(again)), (None, Some(Unheard::PairingOpen)));
            told.note(&note);
            assert_eq!(told.now(CLOSED), Some(unheard), "{note:?}");
            let while_open = if unheard == Unheard::Another { Unheard::PairingOpen } else { unheard };
            assert_eq!(told.now(again), Some(while_open), "{note:?}");
            // one that is near as well changes nothing
            told.note(&Note::Refused(Kind::Sensor, Refusal::Stranger));
            assert_eq!(told.now(CLOSED), Some(unheard), "{note:?}");
            told.note(&Note::Linked(Kind::Sensor, Security::Authenticated));
            assert_eq!(told.now(CLOSED), None, "{note:?}");
        }
    }

    #[test]
    fn of_meters_and_phones_nothing_is_told() {
        for note in [
            Note::Refused(Kind::Meter, Refusal::NoKey),
            Note::PairingFailed(Wanted::New(Kind::Meter)),
            Note::PairingFailed(Wanted::Desk),
            Note::DeskRefused(Refusal::Stranger),
            Note::Trouble,
        ] {
            let mut told = Told::new(&kept());
            told.note(&note);
            assert_eq!(told.now(CLOSED), None, "{note:?}");
            // nor do they end what is told
            told.note(&Note::Refused(Kind::Sensor, Refusal::NoKey));
            told.note(&note);
            told.note(&Note::Linked(Kind::Meter, Security::Authenticated));
            told.note(&Note::Paired(Kind::Meter, Security::Authenticated));
            assert_eq!(told.now(CLOSED), Some(Unheard::KeyLost), "{note:?}");
        }
    }
}
