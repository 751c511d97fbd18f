//! What must hold of colours whatever they are.

use calibriar::form::colour::{
    ColourError, Lab, balanced, difference, from_srgb, from_white, spots,
};
use calibriar::table::{Spot, SpotColour, White};
use proptest::prelude::*;

/// Any number at all, the odd ones often.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => -300.0..300.0,
        1 => prop::num::f64::ANY,
        1 => prop_oneof![Just(0.0), Just(255.0), Just(1e300), Just(-1e300), Just(1e-300)],
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY)],
    ]
}

fn any_three() -> impl Strategy<Value = [f64; 3]> {
    [any_number(), any_number(), any_number()]
}

fn channels() -> impl Strategy<Value = [f64; 3]> {
    [0.0..=255.0, 0.0..=255.0, 0.0..=255.0]
}

fn lab() -> impl Strategy<Value = Lab> {
    (0.0..100.0, -120.0..120.0, -120.0..120.0).prop_map(|(l, a, b)| Lab { l, a, b })
}

fn white() -> impl Strategy<Value = White> {
    prop_oneof![
        Just(White::D65),
        Just(White::D50),
        Just(White::D55),
        Just(White::A)
    ]
}

fn spot() -> impl Strategy<Value = Spot> {
    let colour = prop_oneof![
        any_three().prop_map(SpotColour::Srgb),
        channels().prop_map(SpotColour::Srgb),
        (any_three(), white()).prop_map(|(lab, white)| SpotColour::Lab { lab, white }),
        (lab(), white()).prop_map(|(lab, white)| SpotColour::Lab {
            lab: lab.components(),
            white
        }),
    ];
    let card = prop_oneof![4 => Just(None), 1 => any_number().prop_map(Some)];
    (card, colour).prop_map(|(card, colour)| Spot {
        name: String::from("1"),
        card,
        colour,
    })
}

fn is_finite(lab: Lab) -> bool {
    lab.components().iter().all(|c| c.is_finite())
}

proptest! {
    #[test]
    fn a_difference_is_symmetric_zero_on_itself_and_never_below(one in lab(), other in lab()) {
        let there = difference(one, other);
        prop_assert!(there >= 0.0);
        prop_assert!((there - difference(other, one)).abs() <= 1e-12 * there.max(1.0));
        prop_assert_eq!(difference(one, one), 0.0);
    }

    #[test]
    fn a_difference_is_finite_for_all_finite_colours(
        one in [-1e300..1e300, -1e300..1e300, -1e300..1e300],
        other in any_three(),
    ) {
        let got = difference(one.into(), other.into());
        let reckonable = other.iter().all(|c| c.abs() <= 1e300);
        prop_assert!(!reckonable || got.is_finite(), "{got}");
    }

    #[test]
    fn channels_give_a_colour_or_an_error(channels in any_three()) {
        match from_srgb(channels) {
            Ok(lab) => prop_assert!(is_finite(lab)),
            Err(error) => {
                // Compared by its text: NaN is unlike itself.
                let named = ColourError::NotSrgb(channels).to_string();
                prop_assert_eq!(error.to_string(), named);
                prop_assert!(channels.iter().any(|c| !(0.0..=255.0).contains(c)));
            }
        }
    }

    #[test]
    fn adaptation_gives_a_colour_or_an_error(lab in any_three(), white in white()) {
        if let Ok(lab) = from_white(lab, white) {
            prop_assert!(is_finite(lab));
        }
    }

    #[test]
    fn a_balanced_spot_is_a_colour_or_an_error(
        spot in any_three(),
        card in any_three(),
        lightness in any_number(),
    ) {
        if let Ok(lab) = balanced(spot, card, lightness) {
            prop_assert!(is_finite(lab));
            prop_assert!(lab.l <= 100.0 + 1e-3);
        }
    }

    /// A card photographed in its own light is neutral and as light as it says.
    #[test]
    fn a_card_corrects_itself(card in [20.0..249.9, 20.0..249.9, 20.0..249.9], l in 1.0..99.0) {
        let lab = balanced(card, card, l).unwrap();
        prop_assert!((lab.l - l).abs() < 1e-3);
        prop_assert!(lab.a.abs() < 0.01 && lab.b.abs() < 0.01);
    }

    /// Half the light, or another, on spot and card alike changes nothing.
    #[test]
    fn a_balanced_spot_does_not_depend_on_the_light(
        spot in [0.02..0.5, 0.02..0.5, 0.02..0.5],
        light in [0.2..0.9, 0.2..0.9, 0.2..0.9],
    ) {
        let encode = |x: f64| match x <= 0.0031308 {
            true => 255.0 * 12.92 * x,
            false => 255.0 * (1.055 * x.powf(1.0 / 2.4) - 0.055),
        };
        // A card of L* 90 reflects this share.
        let share = (106.0f64 / 116.0).powi(3);
        let lit = |light: [f64; 3]| {
            let card = light.map(|of| encode(of * share));
            let spot = [0, 1, 2].map(|i| encode(light[i] * spot[i]));
            balanced(spot, card, 90.0).unwrap()
        };
        let (one, other) = (lit(light), lit([0.8; 3]));
        prop_assert!(difference(one, other) < 1e-6, "{one:?} {other:?}");
    }

    #[test]
    fn spots_give_a_colour_or_an_error(all in prop::collection::vec(spot(), 0..6)) {
        let Ok(colour) = spots(&all) else { return Ok(()) };
        prop_assert!(is_finite(colour.lab));
        prop_assert!(colour.uncertainty.iter().all(|u| u.is_finite() && *u > 0.0));
        prop_assert_eq!(colour.n, all.iter().filter(|s| s.card.is_none()).count());
        prop_assert_eq!(colour.scatter.is_some(), colour.n > 1);
        if let (Some(scatter), Some(farthest)) = (colour.scatter, colour.farthest) {
            prop_assert!(scatter <= farthest.difference + 1e-9);
        }
    }

    #[test]
    fn spots_in_any_order_are_one_colour(
        labs in prop::collection::vec(lab(), 2..6),
        turn in 0usize..6,
    ) {
        let of = |labs: &[Lab]| {
            let spots: Vec<Spot> = labs
                .iter()
                .map(|lab| Spot {
                    name: String::new(),
                    card: None,
                    colour: SpotColour::Lab { lab: lab.components(), white: White::D65 },
                })
                .collect();
            calibriar::form::colour::spots(&spots).unwrap()
        };
        let mut turned = labs.clone();
        turned.rotate_left(turn % labs.len());
        let (one, other) = (of(&labs), of(&turned));
        prop_assert!(difference(one.lab, other.lab) < 1e-9);
        prop_assert!((one.scatter.unwrap() - other.scatter.unwrap()).abs() < 1e-9);
    }
}
