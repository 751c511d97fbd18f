// Shares of p <= 0.05 in 300 worlds of each kind, seed 1, in the order of `MEASURES`.
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
        rates: [Some(0.0475), None, Some(0.0300), Some(0.0300), Some(0.0203), None, Some(0.0000), Some(0.0000), None, None],
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
        rates: [Some(0.0515), Some(0.0506), Some(0.1710), Some(0.0475), Some(0.0172), Some(0.0092), Some(0.5028), Some(0.0311), None, None],
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
        rates: [Some(0.0445), Some(0.0527), Some(0.0509), Some(0.0355), Some(0.0172), Some(0.0114), Some(0.0386), Some(0.0133), None, None],
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
        rates: [Some(0.0493), Some(0.0515), Some(0.1470), Some(0.0360), Some(0.0186), Some(0.0078), Some(0.4153), Some(0.0244), None, None],
    },
];
