//! The body of a person with type 1 diabetes: insulin in, carbohydrate in, glucose out.

/// The constants of one body.
///
/// # Source
/// Structure and mean values: R. Hovorka et al., Nonlinear model predictive control of glucose concentration in
/// subjects with type 1 diabetes, Physiol Meas 25:905, 2004 (from memory). Exercise, in the spirit of M. Breton,
/// Diabetes Technol Ther 10:S85, 2008 (from memory): uptake rises while it lasts, sensitivity for hours after.
#[derive(Clone, Copy, Debug)]
pub(super) struct Body {
    /// Body weight, kg.
    pub weight: f32,
    /// Glucose distribution volume, L/kg.
    pub glucose_volume: f32,
    /// Insulin distribution volume, L/kg.
    pub insulin_volume: f32,
    /// Uptake that needs no insulin, mmol/kg/min.
    pub basal_uptake: f32,
    /// Liver output without insulin, mmol/kg/min.
    pub liver: f32,
    /// Return from the second compartment, /min.
    pub exchange: f32,
    /// Rates at which insulin's three actions come and go, /min.
    pub action_rate: [f32; 3],
    /// Sensitivity of transport and disposal (/min per mU/L) and of the liver (per mU/L).
    pub sensitivity: [f32; 3],
    /// Insulin clearance, /min.
    pub clearance: f32,
    /// Time to the peak of absorbed insulin, min.
    pub insulin_peak: f32,
    /// Share of carbohydrate that arrives.
    pub bioavailability: f32,
}

impl Body {
    pub const MEAN: Self = Self {
        weight: 75.0,
        glucose_volume: 0.16,
        insulin_volume: 0.12,
        basal_uptake: 0.0097,
        liver: 0.0161,
        exchange: 0.066,
        action_rate: [0.006, 0.06, 0.03],
        sensitivity: [51.2e-4, 8.2e-4, 520e-4],
        clearance: 0.138,
        insulin_peak: 55.0,
        bioavailability: 0.8,
    };
}

/// What acts on the body from outside and changes slowly.
#[derive(Clone, Copy, Debug)]
pub(super) struct Conditions {
    /// Insulin infusion, mU/min.
    pub basal: f32,
    /// Multiplies insulin's actions.
    pub sensitivity: f32,
    /// Multiplies the liver's output.
    pub liver: f32,
    /// Glucose appearing (or vanishing) unexplained, mmol/kg/min.
    pub flux: f32,
    /// Time to the peak of the meal's absorption, min.
    pub meal_peak: f32,
    /// Exercise intensity, 0 to 1.
    pub exercise: f32,
}

/// Time to the peak of sugar taken for a low, min.
const SUGAR_PEAK: f32 = 20.0;
/// Grams of glucose in a mmol.
const MMOL_PER_GRAM: f32 = 1000.0 / 180.156;

/// Amounts in the body.
#[derive(Clone, Copy, Debug)]
pub(super) struct State {
    /// Insulin under the skin, mU.
    skin: [f32; 2],
    /// Plasma insulin, mU/L.
    insulin: f32,
    /// Insulin's actions on transport, disposal and the liver.
    action: [f32; 3],
    /// Glucose reachable and not reachable from the blood, mmol/kg.
    glucose: [f32; 2],
    /// Slow and fast carbohydrate on its way, mmol/kg.
    meal: [f32; 2],
    sugar: [f32; 2],
    /// Exercise now, and its aftermath.
    effort: [f32; 2],
}

impl State {
    /// At rest at a plasma glucose of `mmol_l`, and the infusion that holds it there, mU/min.
    pub fn at_rest(body: &Body, mmol_l: f32) -> (Self, f32) {
        let reachable = mmol_l * body.glucose_volume;
        let balance = |insulin: f32| {
            let [transport, disposal, liver] = body.sensitivity.map(|s| s * insulin);
            let gone = transport * reachable * disposal / (body.exchange + disposal);
            body.liver * (1.0 - liver).max(0.0) - body.basal_uptake - gone
        };
        let (mut low, mut high) = (0.0_f32, 100.0_f32);
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if balance(middle) > 0.0 { low = middle } else { high = middle }
        }
        let insulin = 0.5 * (low + high);
        let action = body.sensitivity.map(|s| s * insulin);
        let [transport, disposal, _] = action;
        let basal = insulin * body.clearance * body.insulin_volume * body.weight;
        let state = Self {
            skin: [basal * body.insulin_peak; 2],
            insulin,
            action,
            glucose: [reachable, transport * reachable / (body.exchange + disposal)],
            meal: [0.0; 2],
            sugar: [0.0; 2],
            effort: [0.0; 2],
        };
        (state, basal)
    }

    /// Plasma glucose, mmol/L.
    pub fn plasma(&self, body: &Body) -> f32 {
        let [reachable, _] = self.glucose;
        reachable / body.glucose_volume
    }

    pub fn eat(&mut self, body: &Body, grams: f32, fast: bool) {
        let [stomach, _] = if fast { &mut self.sugar } else { &mut self.meal };
        *stomach += grams * MMOL_PER_GRAM * body.bioavailability / body.weight;
    }

    pub fn inject(&mut self, units: f32) {
        let [depot, _] = &mut self.skin;
        *depot += units * 1000.0;
    }

    /// The rates of change of all amounts, per minute.
    fn slope(&self, body: &Body, now: &Conditions) -> Self {
        let ([skin, deeper], [reachable, far]) = (self.skin, self.glucose);
        let absorbed = deeper / body.insulin_peak;
        let [transport, disposal, liver] = self.action;
        let ([stomach, gut], [sip, sipped]) = (self.meal, self.sugar);
        let [effort, aftermath] = self.effort;
        let level = reachable / body.glucose_volume;
        let appearing = gut / now.meal_peak + sipped / SUGAR_PEAK;
        let uptake = body.basal_uptake * (level / 4.5).clamp(0.0, 1.0);
        let renal = 0.003 * (level - 9.0).max(0.0) * body.glucose_volume;
        let made = body.liver * now.liver * (1.0 - liver).max(0.0);
        let worked = 0.010 * effort * reachable;
        let [gain_t, gain_d, gain_l] = body.sensitivity;
        let [rate_t, rate_d, rate_l] = body.action_rate;
        let drive = self.insulin * now.sensitivity * (1.0 + aftermath);
        Self {
            skin: [now.basal - skin / body.insulin_peak, (skin - deeper) / body.insulin_peak],
            insulin: absorbed / (body.insulin_volume * body.weight) - body.clearance * self.insulin,
            action: [
                rate_t * (gain_t * drive - transport),
                rate_d * (gain_d * drive - disposal),
                rate_l * (gain_l * drive - liver),
            ],
            glucose: [
                made + appearing + now.flux + body.exchange * far
                    - uptake
                    - renal
                    - worked
                    - transport * reachable,
                transport * reachable - (body.exchange + disposal) * far,
            ],
            meal: [-stomach / now.meal_peak, (stomach - gut) / now.meal_peak],
            sugar: [-sip / SUGAR_PEAK, (sip - sipped) / SUGAR_PEAK],
            effort: [(now.exercise - effort) / 5.0, (effort - aftermath) / 300.0],
        }
    }

    /// Rate of change of plasma glucose, mmol/L per minute.
    pub fn rate(&self, body: &Body, now: &Conditions) -> f32 {
        let [reachable, _] = self.slope(body, now).glucose;
        reachable / body.glucose_volume
    }

    fn moved(&self, slope: &Self, d: f32) -> Self {
        // amounts: none goes under nothing
        let one = |x: f32, dx: f32| (x + d * dx).max(0.0);
        let two = |[a, b]: [f32; 2], [da, db]: [f32; 2]| [one(a, da), one(b, db)];
        let ([t, d2, l], [dt, dd2, dl]) = (self.action, slope.action);
        Self {
            skin: two(self.skin, slope.skin),
            insulin: one(self.insulin, slope.insulin),
            action: [one(t, dt), one(d2, dd2), one(l, dl)],
            glucose: two(self.glucose, slope.glucose),
            meal: two(self.meal, slope.meal),
            sugar: two(self.sugar, slope.sugar),
            effort: two(self.effort, slope.effort),
        }
    }

    /// Moves on by `d` minutes, at most 1, by the midpoint rule; the fastest process takes 5 minutes.
    pub fn step(&mut self, body: &Body, now: &Conditions, d: f32) {
        let half = self.moved(&self.slope(body, now), 0.5 * d);
        *self = self.moved(&half.slope(body, now), d);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rest(basal: f32) -> Conditions {
        Conditions { basal, sensitivity: 1.0, liver: 1.0, flux: 0.0, meal_peak: 40.0, exercise: 0.0 }
    }

    #[test]
    fn rest_is_rest() {
        let body = Body::MEAN;
        let (mut state, basal) = State::at_rest(&body, 6.5);
        for _ in 0..1440 {
            state.step(&body, &rest(basal), 1.0);
        }
        assert!((state.plasma(&body) - 6.5).abs() < 0.02, "{}", state.plasma(&body));
        assert!((0.3..3.0).contains(&(basal * 0.06)), "{} units an hour", basal * 0.06);
    }

    #[test]
    fn half_the_step_gives_the_same_curve() {
        let body = Body::MEAN;
        let (start, basal) = State::at_rest(&body, 6.5);
        let (mut whole, mut halves) = (start, start);
        for state in [&mut whole, &mut halves] {
            state.eat(&body, 60.0, false);
            state.inject(5.0);
        }
        for _ in 0..180 {
            whole.step(&body, &rest(basal), 1.0);
            halves.step(&body, &rest(basal), 0.5);
            halves.step(&body, &rest(basal), 0.5);
            assert!((whole.plasma(&body) - halves.plasma(&body)).abs() < 0.01);
        }
    }
}
