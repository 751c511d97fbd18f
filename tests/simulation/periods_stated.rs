const STATED: [Stated; 0] = [];
