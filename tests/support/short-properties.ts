import fc from 'fast-check';

// For runs that repeat every test thousands of times: the same cases each time, no search for a smaller
// counter-example, and no property longer than a moment however many cases it asks for.
fc.configureGlobal({ seed: 1, endOnFailure: true, interruptAfterTimeLimit: 200 });
