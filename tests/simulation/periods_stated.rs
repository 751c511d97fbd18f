// Shares of p <= 0.05 in 200 worlds of each kind, seed 1, in the order of `MEASURES`.
const STATED: [Stated; 4] = [
    Stated {
        world: World {
            patterns: 8,
            n: 1,
            lambda: 0.3,
            borrowing: true,
            off: 0.0,
            wider: 1.0,
            apart: 0.0,
        },
        rates: [Some(0.0499), None, Some(0.0298), Some(0.0298), Some(0.0533), None, Some(0.0000), Some(0.0000), Some(0.0342), None],
    },
    Stated {
        world: World {
            patterns: 8,
            n: 3,
            lambda: 0.3,
            borrowing: true,
            off: 0.0,
            wider: 1.0,
            apart: 0.0,
        },
        rates: [Some(0.0536), Some(0.0515), Some(0.1650), Some(0.0479), Some(0.0571), Some(0.0642), Some(0.4833), Some(0.0308), Some(0.0375), Some(0.0479)],
    },
    Stated {
        world: World {
            patterns: 8,
            n: 3,
            lambda: 0.0,
            borrowing: true,
            off: 0.0,
            wider: 1.0,
            apart: 0.0,
        },
        rates: [Some(0.0442), Some(0.0534), Some(0.0484), Some(0.0359), Some(0.0371), Some(0.0692), Some(0.0404), Some(0.0129), Some(0.0267), Some(0.0513)],
    },
    Stated {
        world: World {
            patterns: 8,
            n: 3,
            lambda: 0.3,
            borrowing: false,
            off: 0.0,
            wider: 1.0,
            apart: 0.0,
        },
        rates: [Some(0.0498), Some(0.0524), Some(0.1430), Some(0.0357), Some(0.0542), Some(0.0513), Some(0.4029), Some(0.0237), Some(0.0371), Some(0.0379)],
    },
];
